/** Builds dist/ before the tests where it is missing or older than the sources: the command line tests run the real program. */
import { spawnSync } from 'node:child_process';
import { fileURLToPath } from 'node:url';

export default function setup(): void {
  const prepare = fileURLToPath(new URL('../scripts/prepare.mjs', import.meta.url));
  // Only the build: packages must not be replaced while the tests run from them.
  const run = spawnSync(process.execPath, [prepare, '--build'], { encoding: 'utf8' });
  if (run.status !== 0) throw new Error(`building dist/ failed:\n${run.stdout}${run.stderr}`);
}
