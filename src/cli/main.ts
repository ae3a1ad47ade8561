/** The command line: finds the command, runs it, and turns every outcome into an exit code. */
import { Command, CommanderError } from 'commander';
import { UsageError } from '../errors.js';
import { VERSION } from '../version.js';
import { compareCommand } from './commands/compare.js';
import { demoCommand } from './commands/demo.js';
import { expectCommand } from './commands/expect.js';
import { fieldCommand } from './commands/field.js';
import { gradeCommand } from './commands/grade.js';
import { measureCommand } from './commands/measure.js';
import { mergeCommand } from './commands/merge.js';
import { schemaCommand } from './commands/schema.js';
import { simulateCommand } from './commands/simulate.js';
import { sweepCommand } from './commands/sweep.js';
import { undoCommand } from './commands/undo.js';
import { SUN_CAUTION } from './options.js';
import { createTerminal } from './terminal.js';
import { showError } from './warnings.js';

/** Everything was done. */
const EXIT_DONE = 0;
/** A frame could not be measured, or a result could not be kept. */
const EXIT_FAILED = 1;
/** Nothing was done: the command line or an output path makes it impossible. */
const EXIT_USAGE = 2;

const DESCRIPTION = `Measures what a telescope does to the colours of stars: size and shape in each colour, and how far blue light spreads beyond red (the blue rim, or halo, of lenses), with error bars and in plain words.`;

const AFTER = `
Start with:
  bluerim demo                three invented lenses on one sky, measured, shown
  bluerim measure field.fits  one frame of your own
  bluerim field field.fits    what its corners say about the optics
  bluerim compare one=a.fits other=b.fits
                              two telescopes on the same stars
  bluerim grade night         which frames of a night to stack
  bluerim sweep run           where each colour focuses, from a focuser run
  bluerim expect --aperture 80 --focal-ratio 5
                              the false colour that a lens must show
  bluerim help measure        its options, with units and defaults

Exit codes: 0 done; 1 something could not be measured or kept; 2 nothing was
done, the command line or an output is wrong.

${SUN_CAUTION}`;

/** Runs one command line (`argv` as in process.argv); returns the exit code and never throws. */
export async function main(argv: readonly string[]): Promise<number> {
  let exitCode = EXIT_DONE;
  const setExitCode = (code: number): void => {
    exitCode = code;
  };
  const program = new Command('bluerim')
    .description(DESCRIPTION)
    .version(VERSION, '-V, --version', 'show the version')
    .helpOption('-h, --help', 'show help')
    .helpCommand('help [command]', 'show help for a command')
    .addHelpText('after', AFTER);
  const commands = [
    measureCommand(setExitCode),
    fieldCommand(setExitCode),
    compareCommand(setExitCode),
    gradeCommand(setExitCode),
    sweepCommand(setExitCode),
    expectCommand(),
    mergeCommand(setExitCode),
    undoCommand(setExitCode),
    demoCommand(setExitCode),
    simulateCommand(),
    schemaCommand(),
  ];
  for (const command of commands) program.addCommand(command);
  for (const command of [program, ...commands]) {
    command.exitOverride();
    command.showHelpAfterError(
      `  what to do: ${['bluerim', command === program ? '' : command.name(), '--help'].filter(Boolean).join(' ')} lists what is possible`,
    );
  }
  try {
    await program.parseAsync(argv);
    return exitCode;
  } catch (error) {
    if (error instanceof CommanderError) return error.exitCode === 0 ? EXIT_DONE : EXIT_USAGE;
    showError(error, createTerminal());
    return error instanceof UsageError || isRefusal(error) ? EXIT_USAGE : EXIT_FAILED;
  }
}

/** An output that was refused before any work began. */
function isRefusal(error: unknown): boolean {
  return error instanceof Error && 'refused' in error && error.refused === true;
}
