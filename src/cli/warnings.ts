/** Warnings and errors as lines on stderr. */
import { ToolError } from '../errors.js';
import type { FrameResult } from '../measure/result.js';
import { escapeControls } from '../report/escape.js';
import type { Warning } from '../warnings.js';
import type { Terminal } from './terminal.js';

/**
 * Prints each warning once; one that many files share names the first and counts the others. With a single file
 * (`oneFile`) its name is left out: it would only be repeated on every line.
 */
export function showWarnings(
  warnings: readonly Warning[],
  oneFile: boolean,
  terminal: Terminal,
): void {
  const files = new Map<string, Set<string>>();
  for (const { message, file } of warnings) {
    const seen = files.get(message) ?? new Set();
    if (file !== undefined) seen.add(file);
    files.set(message, seen);
  }
  for (const [message, names] of files) {
    const [first, ...others] = names;
    const where =
      first === undefined || (oneFile && others.length === 0)
        ? ''
        : others.length === 0
          ? `${first}: `
          : `${first} and ${others.length} more: `;
    terminal.message(
      `${terminal.messageStyle.warn('warning:')} ${escapeControls(where + message)}`,
    );
  }
}

/** Prints what is wrong with each failed frame and what to do about it. */
export function showFailures(results: readonly FrameResult[], terminal: Terminal): void {
  showFailedFiles(
    results.flatMap(({ file, error }) => (error === undefined ? [] : [{ file, error }])),
    terminal,
  );
}

/** The same for files whose faults are kept apart from results. */
export function showFailedFiles(
  failed: readonly { file: string; error: NonNullable<FrameResult['error']> }[],
  terminal: Terminal,
): void {
  for (const { file, error } of failed) {
    showFault(`${file}: ${error.message}`, error.remedy, terminal);
  }
}

/** An error that ends the command: its message and remedy, or, for a fault of ours, where it happened. */
export function showError(error: unknown, terminal: Terminal): void {
  if (error instanceof ToolError) {
    showFault(error.message, error.remedy, terminal);
    return;
  }
  const text = error instanceof Error ? (error.stack ?? error.message) : String(error);
  terminal.message(
    `${terminal.messageStyle.red('error:')} this is a fault in bluerim, not in your files; please report it with the text below`,
  );
  terminal.message(text.split('\n').map(escapeControls).join('\n'));
}

/** One error with what to do about it. */
export function showFault(message: string, remedy: string, terminal: Terminal): void {
  terminal.message(`${terminal.messageStyle.red('error:')} ${escapeControls(message)}`);
  if (remedy !== '') terminal.message(`  what to do: ${escapeControls(remedy)}`);
}
