/** The terminal: its width, whether it shows colour, and where messages go. The only place that makes colour codes. */
import { Chalk, type ColorSupportLevel, supportsColor, supportsColorStderr } from 'chalk';
import type { TextStyle } from '../report/layout.js';

export type ColorChoice = 'auto' | 'always' | 'never';

/** Widest line of a report; also the width in pipes and files. */
const MOST_COLUMNS = 100;
/** Narrower terminals get this and break lines themselves. */
const LEAST_COLUMNS = 60;

export interface Terminal {
  /** Characters per line for reports on stdout. */
  readonly width: number;
  /** Style of stdout. */
  readonly style: TextStyle;
  /** Style of stderr. */
  readonly messageStyle: TextStyle;
  /** Whether a person watches stderr. */
  readonly interactive: boolean;
  /** Writes a line to stderr. */
  message(text: string): void;
  /** Writes text to stdout as it is. */
  result(text: string): void;
}

type Environment = Readonly<Record<string, string | undefined>>;

/**
 * Colour level of a stream. `auto` follows the terminal and honours NO_COLOR (no-color.org: set and not empty), which
 * chalk 5 does not.
 */
export function colorLevel(
  choice: ColorChoice,
  environment: Environment,
  supported: ColorSupportLevel,
): ColorSupportLevel {
  if (choice === 'never') return 0;
  if (choice === 'always') return supported > 0 ? supported : 1;
  return environment.NO_COLOR ? 0 : supported;
}

function styleAt(level: ColorSupportLevel): TextStyle {
  const chalk = new Chalk({ level });
  return {
    strong: (text) => chalk.bold(text),
    faint: (text) => chalk.dim(text),
    red: (text) => chalk.red(text),
    green: (text) => chalk.green(text),
    blue: (text) => chalk.blueBright(text),
    warn: (text) => chalk.yellow(text),
  };
}

/** The terminal of this process. */
export function createTerminal(choice: ColorChoice = 'auto'): Terminal {
  const { stdout, stderr, env } = process;
  const levelOf = (support: typeof supportsColor): ColorSupportLevel =>
    support === false ? 0 : support.level;
  const columns = stdout.isTTY ? (stdout.columns ?? MOST_COLUMNS) : MOST_COLUMNS;
  return {
    width: Math.max(LEAST_COLUMNS, Math.min(MOST_COLUMNS, columns)),
    style: styleAt(colorLevel(choice, env, levelOf(supportsColor))),
    messageStyle: styleAt(colorLevel(choice, env, levelOf(supportsColorStderr))),
    interactive: stderr.isTTY === true,
    message: (text) => {
      stderr.write(`${text}\n`);
    },
    result: (text) => {
      stdout.write(text);
    },
  };
}
