/** Warnings as data: every doubt about a frame travels with its result and is shown by the command line. */
export interface Warning {
  /** Stable kebab-case identifier. */
  code: string;
  /** What was seen, what it may mean, which option to try. */
  message: string;
  /** The file it belongs to. */
  file?: string;
}
