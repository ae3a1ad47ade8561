/** `bluerim demo`: three invented lenses on the same sky, simulated, measured as any frame is, shown, and compared. */
import { existsSync, readFileSync } from 'node:fs';
import { availableParallelism } from 'node:os';
import { join } from 'node:path';
import { isDeepStrictEqual } from 'node:util';
import { Command } from 'commander';
import type { StarCatalogue } from '../../catalogue/catalogue.js';
import { DEFAULT_MEASURE_OPTIONS } from '../../measure/options.js';
import type { FrameResult } from '../../measure/result.js';
import type { Truth } from '../../simulate/truth.js';
import { colorOption, forceOption, SUN_CAUTION } from '../options.js';
import type { Rendered, SimulateTask } from '../simulate-task.js';
import { type ColorChoice, createTerminal, type Terminal } from '../terminal.js';

const LENSES = [
  { scene: 'achromat', name: 'achromat' },
  { scene: 'ed', name: 'ED' },
  { scene: 'apo', name: 'apochromat' },
] as const;
const PICTURE_NAME = 'demo.png';
const PAGE_NAME = 'demo.html';
const FIELD_PAGE_NAME = 'demo-field.html';

const NOTES = `
The folder then holds one FITS frame per lens, the truth about each,
${PICTURE_NAME}: one bright star through the three lenses, and the pictures of their
comparison (*.svg), and two pages for a browser: ${PAGE_NAME} of the three
frames, ${FIELD_PAGE_NAME} of the field of the first. A second run finds the
frames and only measures them.

${SUN_CAUTION}`;

interface DemoFlags {
  output: string;
  force?: boolean;
  color: ColorChoice;
}

export function demoCommand(setExitCode: (code: number) => void): Command {
  return new Command('demo')
    .description(
      'See what the numbers mean: three invented lenses (achromat, ED, apochromat) on the same sky, simulated, measured, compared with the truth, and with each other. Takes about a minute.',
    )
    .option('-o, --output <folder>', 'folder for the frames and the picture', 'demo-output')
    .addOption(forceOption())
    .addOption(colorOption())
    .helpOption('-h, --help', 'show this help')
    .addHelpText('after', NOTES)
    .action(async (flags: DemoFlags) => {
      setExitCode(await runDemo(flags, createTerminal(flags.color)));
    });
}

/** Runs the demonstration; returns the exit code. */
async function runDemo(flags: DemoFlags, terminal: Terminal): Promise<number> {
  const rendered = await prepareFrames(flags, terminal);

  const { measureAll } = await import('../../pool/pool.js');
  const tasks = rendered.map(({ frameFile }) => ({
    file: frameFile,
    options: DEFAULT_MEASURE_OPTIONS,
    overrides: {},
    keepStars: true,
  }));
  terminal.message('measuring the frames');
  const outcomes = await measureAll(tasks, Math.min(tasks.length, availableParallelism()));
  const results = outcomes.map((outcome) => outcome.result);

  const { frameText } = await import('../../report/frame-table.js');
  const { lensComparisonText } = await import('../../report/lens-comparison.js');
  const { truthHalo } = await import('../../simulate/truth.js');
  const { width, style } = terminal;
  for (const result of results) {
    if (result.status === 'ok') terminal.result(`${frameText(result, width, style)}\n\n\n`);
  }
  const rows = LENSES.map(({ name }, i) => {
    const { halo } = results[i] as FrameResult;
    // Truth and measurement count light within the same radius, or they could not be compared.
    const truth =
      halo === null
        ? null
        : truthHalo((rendered[i] as Rendered).truth, halo.blueMinusRed.normalisedWithinPx);
    return {
      name,
      level: halo?.level ?? null,
      measured: halo && {
        blueMinusRed: halo.blueMinusRed.excessPercent,
        blueMinusGreen: halo.blueMinusGreen.excessPercent,
        redMinusGreen: halo.redMinusGreen.excessPercent,
      },
      truth: truth && {
        blueMinusRed: truth.blueMinusRedPercent,
        blueMinusGreen: truth.blueMinusGreenPercent,
        redMinusGreen: truth.redMinusGreenPercent,
      },
    };
  });
  terminal.result(`${lensComparisonText(rows, width, style)}\n`);

  const { showFailures, showWarnings } = await import('../warnings.js');
  const { allWarnings } = await import('../../report/json.js');
  showWarnings(allWarnings(results, []), false, terminal);
  showFailures(results, terminal);
  await drawPicture(flags, rendered, results, terminal);
  await writePage(
    flags,
    results,
    outcomes.map(({ catalogues }) => catalogues[0]?.catalogue ?? null),
    terminal,
  );
  await writeFieldPage(flags, (rendered[0] as Rendered).frameFile, terminal);
  const compared = await compareLenses(flags, rendered, terminal);
  return compared && results.every((result) => result.status === 'ok') ? 0 : 1;
}

/** The page of the three frames, as `measure --html` writes it. */
async function writePage(
  flags: DemoFlags,
  results: readonly FrameResult[],
  catalogues: readonly (StarCatalogue | null)[],
  terminal: Terminal,
): Promise<void> {
  const html = join(flags.output, PAGE_NAME);
  if (existsSync(html) && !flags.force) {
    terminal.message(`kept ${html}`);
    return;
  }
  const { measureDocument } = await import('../../report/json.js');
  const { writeMeasurePictures } = await import('../measure-pictures.js');
  // Three telescopes are not combined.
  const document = () => measureDocument(results, null, DEFAULT_MEASURE_OPTIONS, {}, []);
  await writeMeasurePictures({ html }, document, catalogues, {}, terminal);
}

/** The page of the first frame's field, as `field --html` writes it. */
async function writeFieldPage(flags: DemoFlags, file: string, terminal: Terminal): Promise<void> {
  const html = join(flags.output, FIELD_PAGE_NAME);
  if (existsSync(html) && !flags.force) {
    terminal.message(`kept ${html}`);
    return;
  }
  const { DEFAULT_CIRCLE_LIMITS } = await import('../../field/corrected-circle.js');
  const { analyseFieldFiles } = await import('../../pool/analyse-field.js');
  const { fieldDocument } = await import('../../report/field-json.js');
  const { writeFieldPictures } = await import('../field-pictures.js');
  const outcome = await analyseFieldFiles({
    sets: [[{ file, fault: null }]],
    options: DEFAULT_MEASURE_OPTIONS,
    overrides: {},
    circle: DEFAULT_CIRCLE_LIMITS,
    pedestalAdu: null,
    bias: null,
  });
  const document = () => fieldDocument(outcome, DEFAULT_MEASURE_OPTIONS, {});
  await writeFieldPictures({ html }, outcome, document, terminal);
}

/** What `bluerim compare` says of the three; false where they could not be compared. */
async function compareLenses(
  flags: DemoFlags,
  rendered: readonly Rendered[],
  terminal: Terminal,
): Promise<boolean> {
  const { DEFAULT_COMPARE_OPTIONS } = await import('../../compare/options.js');
  const { compareFiles } = await import('../../pool/compare-files.js');
  const { compareText } = await import('../../report/compare-table.js');
  const { showFault, showWarnings } = await import('../warnings.js');
  terminal.message('comparing the lenses, as bluerim compare does');
  const outcome = await compareFiles({
    labels: LENSES.map(({ name }, i) => ({
      label: name,
      files: [{ file: (rendered[i] as Rendered).frameFile, fault: null }],
      overrides: {},
      seeingArcsec: null,
    })),
    options: DEFAULT_COMPARE_OPTIONS,
  });
  if (outcome.comparison === null) {
    if (outcome.error !== null) showFault(outcome.error.message, outcome.error.remedy, terminal);
    return false;
  }
  terminal.result(`\n\n${compareText(outcome.comparison, terminal.width, terminal.style)}`);
  showWarnings(outcome.comparison.warnings, false, terminal);
  const { drawComparison } = await import('../compare-pictures.js');
  const { pictureFile, writePictures } = await import('../picture-files.js');
  const missing = (await drawComparison(outcome)).filter(
    ({ name }) => flags.force || !existsSync(join(flags.output, pictureFile(name))),
  );
  if (missing.length > 0) await writePictures({ svg: flags.output }, missing, terminal);
  else terminal.message(`kept the pictures of the comparison in ${flags.output}`);
  return true;
}

/** Frames and truths, simulated now or found from an earlier run. */
async function prepareFrames(flags: DemoFlags, terminal: Terminal): Promise<Rendered[]> {
  const { builtInScene } = await import('../../simulate/scenes.js');
  const tasks: SimulateTask[] = LENSES.map(({ scene }) => ({
    scene: builtInScene(scene),
    folder: flags.output,
    frameName: `${scene}.fits`,
    truthName: `${scene}.truth.json`,
  }));
  const found = tasks.map((task) => (flags.force ? null : findRendered(task)));
  const missing = tasks.filter((_, i) => found[i] === null);
  const { checkFolderTarget } = await import('../output.js');
  const names = missing.flatMap((task) => [task.frameName, task.truthName]);
  checkFolderTarget(flags.output, names, flags.force ?? false);
  if (missing.length === 0) {
    terminal.message(`using the frames in ${flags.output} (--force makes them anew)`);
    return found as Rendered[];
  }
  const { renderAll } = await import('../simulate-task.js');
  terminal.message(`simulating ${missing.length} frames, less than a minute`);
  const made = await renderAll(missing, availableParallelism(), (task) => {
    terminal.message(`  ${join(task.folder, task.frameName)}`);
  });
  return found.map((each) => each ?? (made.shift() as Rendered));
}

/** The frame and truth of an earlier run, if both are there and of exactly this scene. */
function findRendered(task: SimulateTask): Rendered | null {
  const frameFile = join(task.folder, task.frameName);
  const truthFile = join(task.folder, task.truthName);
  if (!existsSync(frameFile) || !existsSync(truthFile)) return null;
  try {
    const truth = JSON.parse(readFileSync(truthFile, 'utf8')) as Truth;
    return isDeepStrictEqual(truth.scene, task.scene) ? { frameFile, truthFile, truth } : null;
  } catch {
    return null;
  }
}

/** The picture is a bonus: where it cannot be made, the numbers stand and a message says why. */
async function drawPicture(
  flags: DemoFlags,
  rendered: readonly Rendered[],
  results: readonly FrameResult[],
  terminal: Terminal,
): Promise<void> {
  const file = join(flags.output, PICTURE_NAME);
  if (existsSync(file) && !flags.force) {
    terminal.message(`kept ${file}`);
    return;
  }
  const { demoPicture } = await import('../demo-picture.js');
  const { writeWhole } = await import('../output.js');
  const lines = results.map(({ halo }) =>
    halo === null
      ? 'no halo measured'
      : `${Math.round(halo.blueMinusRed.excessPercent.value)} % blue halo`,
  );
  const png = await demoPicture(
    rendered,
    LENSES.map(({ name }, i) => ({ title: name, line: lines[i] as string })),
  );
  writeWhole(file, png);
  terminal.message(`wrote ${file}: one star through the three lenses`);
}
