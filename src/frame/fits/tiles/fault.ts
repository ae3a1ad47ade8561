/** What a codec reports: it knows the bytes of one tile, not the file; the caller adds which tile of which file. */

/** A tile whose bytes cannot be unpacked. The message completes "tile 7 cannot be unpacked: …". */
export class TileFault extends Error {
  constructor(message: string, options?: ErrorOptions) {
    super(message, options);
    this.name = 'TileFault';
  }
}
