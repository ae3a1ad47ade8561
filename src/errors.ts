/** Error classes: which to raise when.
 *
 * - `UsageError`: the command line makes no sense (exit code 2).
 * - `FrameReadError`: one file cannot be read; other frames go on (exit code 1).
 * - `UnsupportedFormatError`: the file is whole, but of a kind this version does not read.
 * - `ParameterError`: a library call received a value outside its allowed range.
 *
 * Programming mistakes stay `TypeError` or `RangeError`. A doubtful frame is a warning, a bad star a flag.
 */

/** Base of all errors that a user can act on; `code` is stable, `remedy` says what to do next. */
export class ToolError extends Error {
  readonly code: string;
  readonly remedy: string;
  constructor(code: string, message: string, remedy: string, options?: ErrorOptions) {
    super(message, options);
    this.name = new.target.name;
    this.code = code;
    this.remedy = remedy;
  }
}

/** The command line or its combination of options makes no sense. */
export class UsageError extends ToolError {
  constructor(message: string, remedy: string) {
    super('usage', message, remedy);
  }
}

/** A file that cannot be read as a frame: names the file, the fault and the remedy. */
export class FrameReadError extends ToolError {
  readonly path: string;
  constructor(code: string, path: string, message: string, remedy: string, options?: ErrorOptions) {
    super(code, message, remedy, options);
    this.path = path;
  }
}

/** The file is whole but of a kind that is not read; `found` and `supported` name both sides. */
export class UnsupportedFormatError extends FrameReadError {
  readonly found: string;
  readonly supported: string;
  constructor(path: string, found: string, supported: string, remedy: string) {
    super('unsupported-format', path, `${found} is not read; supported: ${supported}`, remedy);
    this.found = found;
    this.supported = supported;
  }
}

/** A library parameter outside its range. */
export class ParameterError extends ToolError {
  readonly parameter: string;
  constructor(parameter: string, value: unknown, allowed: string) {
    super(
      'parameter',
      `${parameter} is ${String(value)}; allowed: ${allowed}`,
      `give ${parameter} as ${allowed}`,
    );
    this.parameter = parameter;
  }
}
