/** `bluerim simulate`: a scene in, a FITS frame and the truth about it out. */
import { readFileSync } from 'node:fs';
import { Command } from 'commander';
import { UsageError } from '../../errors.js';
import type { Scene } from '../../simulate/scene.js';
import { forceOption, SUN_CAUTION } from '../options.js';
import { createTerminal, type Terminal } from '../terminal.js';

const EXAMPLES = `
Examples:
  bluerim simulate --list
      the built-in scenes
  bluerim simulate small-achromat -o sky
      writes sky/small-achromat.fits and sky/truth.json
  bluerim simulate my-scene.json -o sky
      a scene of your own; "scene" in truth.json shows every entry there is

Every telescope, camera and sky here is invented. The same scene gives the same
frame to the last digit.

${SUN_CAUTION}`;

const TRUTH_NAME = 'truth.json';

interface SimulateFlags {
  output?: string;
  force?: boolean;
  list?: boolean;
}

export function simulateCommand(): Command {
  return new Command('simulate')
    .description(
      'Simulate a frame of a star field through a modelled lens, with the truth beside it: for trying out and for checking the numbers.',
    )
    .argument('[scene]', 'a built-in scene, or a JSON file that describes one')
    .option('-o, --output <folder>', 'folder for the frame and truth.json; made if needed')
    .option('--list', 'list the built-in scenes')
    .addOption(forceOption())
    .helpOption('-h, --help', 'show this help')
    .addHelpText('after', EXAMPLES)
    .action(async (scene: string | undefined, flags: SimulateFlags) => {
      const terminal = createTerminal();
      if (flags.list) await listScenes(terminal);
      else await runSimulate(scene, flags, terminal);
    });
}

async function listScenes(terminal: Terminal): Promise<void> {
  const { builtInScene, SCENE_NAMES } = await import('../../simulate/scenes.js');
  const { fact } = await import('../../report/layout.js');
  const nameWidth = 2 + Math.max(...SCENE_NAMES.map((name) => name.length));
  for (const name of SCENE_NAMES) {
    const { description } = builtInScene(name);
    terminal.result(`${fact(name, description, nameWidth, terminal.width)}\n`);
  }
}

async function runSimulate(
  name: string | undefined,
  flags: SimulateFlags,
  terminal: Terminal,
): Promise<void> {
  if (name === undefined) {
    throw new UsageError('no scene is given', '"bluerim simulate --list" shows the built-in ones');
  }
  if (flags.output === undefined) {
    throw new UsageError('no folder is given for the frame', 'add -o FOLDER');
  }
  const scene = await findScene(name);
  const { checkFolderTarget } = await import('../output.js');
  const frameName = `${fileStem(scene.name)}.fits`;
  checkFolderTarget(flags.output, [frameName, TRUTH_NAME], flags.force ?? false);
  const { renderToFolder } = await import('../simulate-task.js');
  const { frameFile, truthFile } = renderToFolder({
    scene,
    folder: flags.output,
    frameName,
    truthName: TRUTH_NAME,
  });
  terminal.result(`${frameFile}\n${truthFile}\n`);
}

/** A built-in scene by name, or one described in a file. */
async function findScene(name: string): Promise<Scene> {
  const { builtInScene, SCENE_NAMES } = await import('../../simulate/scenes.js');
  if (SCENE_NAMES.includes(name)) return builtInScene(name);
  const remedy = `give one of ${SCENE_NAMES.join(', ')}, or a JSON file`;
  let text: string;
  try {
    text = readFileSync(name, 'utf8');
  } catch (cause) {
    const code = (cause as NodeJS.ErrnoException).code;
    throw code === 'ENOENT'
      ? new UsageError(`${name}: no built-in scene and no file of that name`, remedy)
      : new UsageError(`${name}: cannot be read (${code ?? String(cause)})`, remedy);
  }
  let description: unknown;
  try {
    description = JSON.parse(text);
  } catch (cause) {
    throw new UsageError(`${name}: this is not JSON (${(cause as Error).message})`, remedy);
  }
  const { parseScene } = await import('../../simulate/scene.js');
  const { ParameterError } = await import('../../errors.js');
  try {
    return parseScene(description);
  } catch (error) {
    if (error instanceof ParameterError)
      throw new UsageError(`${name}: ${error.message}`, error.remedy);
    throw error;
  }
}

/** A file name made from a scene's name: letters, digits, dot, dash and underscore. */
function fileStem(name: string): string {
  const stem = name.replace(/[^A-Za-z0-9._-]+/g, '-').replace(/^[.-]+|-+$/g, '');
  return stem === '' ? 'scene' : stem;
}
