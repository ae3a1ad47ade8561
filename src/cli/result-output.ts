/** How a command's one result is written: to stdout or a file, as text or as JSON. Alike for every command. */
import type { TextStyle } from '../report/layout.js';
import type { ResultFlags } from './options.js';
import type { Terminal } from './terminal.js';

export interface ResultTarget {
  /** Null = stdout. */
  file: string | null;
  asJson: boolean;
}

/** The result in both forms; only the one that is asked for is made. */
export interface Result {
  document: () => object;
  text: (width: number, style: TextStyle) => string;
}

/**
 * Where the result goes, checked before the work begins. `-` is stdout; a name that ends in .json means JSON.
 * @throws OutputError
 */
export async function resultTarget(flags: ResultFlags): Promise<ResultTarget> {
  const file = flags.output === undefined || flags.output === '-' ? null : flags.output;
  if (file !== null) {
    const { checkFileTarget } = await import('./output.js');
    checkFileTarget(file, flags.force ?? false);
  }
  const asJson = flags.json === true || file?.toLowerCase().endsWith('.json') === true;
  return { file, asJson };
}

/**
 * Writes the result; a file's text has no colours.
 * @throws OutputError
 */
export async function writeResult(
  { file, asJson }: ResultTarget,
  result: Result,
  terminal: Terminal,
): Promise<void> {
  let text: string;
  if (asJson) {
    const { jsonText } = await import('../report/json.js');
    text = jsonText(result.document());
  } else {
    const { PLAIN_STYLE } = await import('../report/layout.js');
    text = result.text(terminal.width, file === null ? terminal.style : PLAIN_STYLE);
  }
  if (file === null) {
    terminal.result(text);
    return;
  }
  const { writeWhole } = await import('./output.js');
  writeWhole(file, text);
  terminal.message(`wrote ${file}`);
}
