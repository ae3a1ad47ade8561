/**
 * Makes a clone ready to run: installs what package-lock.json names and builds dist/, each only where something is
 * missing or has changed. Uses Node's own modules only, since it runs before anything is installed.
 *
 *   node scripts/prepare.mjs           install, then build
 *   node scripts/prepare.mjs --build   build only
 *
 * Nothing is printed when nothing was to do; everything printed goes to stderr, so that results on stdout stay clean.
 */
import { spawnSync } from 'node:child_process';
import { existsSync, readdirSync, readFileSync, rmSync, statSync } from 'node:fs';
import { basename, join } from 'node:path';
import { fileURLToPath } from 'node:url';

const root = fileURLToPath(new URL('..', import.meta.url));
const sourceFolder = join(root, 'src');
const builtFolder = join(root, 'dist');
/** Files that decide what the compiler writes, besides the sources. */
const BUILD_SETTINGS = ['tsconfig.json', 'tsconfig.build.json'];

/** The packages of a lock file by folder, or null where there is none that can be read. */
function lockedPackages(path) {
  try {
    return JSON.parse(readFileSync(path, 'utf8')).packages;
  } catch {
    return null;
  }
}

/**
 * Whether node_modules holds what package-lock.json asks for. npm keeps a record of what it installed, written last;
 * comparing the two catches a lock file that changed and an installation that was cut short, whatever the file times say.
 */
function isInstalled() {
  const wanted = lockedPackages(join(root, 'package-lock.json'));
  const present = lockedPackages(join(root, 'node_modules', '.package-lock.json'));
  if (wanted === null || present === null) return false;
  return Object.entries(wanted).every(([folder, { version, optional, link }]) => {
    if (folder === '' || link) return true;
    const found = present[folder];
    // Packages made for other systems are optional, and npm leaves them out.
    if (found === undefined) return optional === true;
    return found.version === version && existsSync(join(root, folder));
  });
}

/** The npm that runs this script, or the one on the path. */
function npmCommand() {
  const own = process.env.npm_execpath;
  if (own !== undefined && basename(own) === 'npm-cli.js' && existsSync(own)) {
    return { file: process.execPath, prefix: [own], shell: false };
  }
  // On Windows npm is a command script, which only a shell can start.
  return { file: 'npm', prefix: [], shell: process.platform === 'win32' };
}

function install() {
  console.error('installing packages (once; some tens of seconds) …');
  const { file, prefix, shell } = npmCommand();
  // Development packages are needed even where NODE_ENV or the user's settings leave them out: they build and test.
  const options = ['--include=dev', '--include=optional', '--no-audit', '--no-fund'];
  const run = spawnSync(file, [...prefix, 'ci', ...options], {
    cwd: root,
    shell,
    stdio: ['ignore', 2, 2],
  });
  if (run.status !== 0) {
    fail(
      run.error ? `npm could not be started (${run.error.message})` : '"npm ci" failed; see above',
      'check that npm is installed and the network can be reached, then run the command again',
    );
  }
}

function namesIn(folder, ending) {
  if (!existsSync(folder)) return [];
  return readdirSync(folder, { recursive: true, encoding: 'utf8' }).filter((name) =>
    name.endsWith(ending),
  );
}

const modified = (path) => (existsSync(path) ? statSync(path).mtimeMs : Number.NEGATIVE_INFINITY);

/** Whether every source has an output that is newer than it and than the settings. */
function isBuilt() {
  const settings = Math.max(...BUILD_SETTINGS.map((name) => modified(join(root, name))));
  return namesIn(sourceFolder, '.ts').every((name) => {
    const built = modified(join(builtFolder, name.replace(/\.ts$/, '.js')));
    return built >= Math.max(settings, modified(join(sourceFolder, name)));
  });
}

function build() {
  console.error('building …');
  const compiler = join(root, 'node_modules', 'typescript', 'bin', 'tsc');
  // Types are checked by "npm run typecheck" and "npm run build"; here only the programs are needed.
  const run = spawnSync(process.execPath, [compiler, '-p', 'tsconfig.build.json', '--noCheck'], {
    cwd: root,
    stdio: ['ignore', 2, 2],
  });
  if (run.status !== 0) {
    fail('the build failed; see above', 'run "npm run typecheck" to see what is wrong');
  }
}

/** Takes away what was built from a source that is gone, or it would be published. */
function removeLeftovers() {
  for (const name of namesIn(builtFolder, '.js')) {
    const stem = name.slice(0, -'.js'.length);
    if (existsSync(join(sourceFolder, `${stem}.ts`))) continue;
    for (const ending of ['.js', '.js.map', '.d.ts']) {
      rmSync(join(builtFolder, stem + ending), { force: true });
    }
  }
}

function fail(message, remedy) {
  console.error(`error: ${message}`);
  console.error(`  what to do: ${remedy}`);
  process.exit(1);
}

const [major, minor] = process.versions.node.split('.').map(Number);
if (major < 20 || (major === 20 && minor < 19)) {
  fail(
    `Node 20.19 or newer is needed; this is Node ${process.versions.node}`,
    'install a current Node',
  );
}
const buildOnly = process.argv.includes('--build');
if (!buildOnly && !isInstalled()) install();
if (!isBuilt()) build();
removeLeftovers();
