/** Builds dist/ before the tests when a source is newer than what was built from it: the command line tests run the real program. */
import { spawnSync } from 'node:child_process';
import { existsSync, readdirSync, statSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';

const root = fileURLToPath(new URL('..', import.meta.url));

function isStale(): boolean {
  return readdirSync(join(root, 'src'), { recursive: true, encoding: 'utf8' })
    .filter((name) => name.endsWith('.ts'))
    .some((name) => {
      const built = join(root, 'dist', name.replace(/\.ts$/, '.js'));
      return (
        !existsSync(built) || statSync(built).mtimeMs < statSync(join(root, 'src', name)).mtimeMs
      );
    });
}

export default function setup(): void {
  if (!isStale()) return;
  const tsc = join(root, 'node_modules/typescript/bin/tsc');
  // Types are the business of `npm run typecheck`; here only the programs are needed.
  const run = spawnSync(process.execPath, [tsc, '-p', 'tsconfig.build.json', '--noCheck'], {
    cwd: root,
    encoding: 'utf8',
  });
  if (run.status !== 0) throw new Error(`building dist/ failed:\n${run.stdout}${run.stderr}`);
}
