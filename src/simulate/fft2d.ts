/** Two-dimensional Fourier transforms on square power-of-two grids, on interleaved complex Float64Arrays. */
import FFT from 'fft.js';

/** Columns handled together, so that each cache line of the grid is used whole. */
const COLUMN_BLOCK = 8;

/** Scratch and tables for one grid size; reuse it, it allocates nothing after construction. */
export class Fft2d {
  readonly size: number;
  private readonly fft: FFT;
  private readonly input: Float64Array;
  private readonly output: Float64Array;
  private readonly block: Float64Array[];

  /** @param size points along each axis, a power of two ≥ 8 */
  constructor(size: number) {
    this.size = size;
    this.fft = new FFT(size);
    this.input = new Float64Array(2 * size);
    this.output = new Float64Array(2 * size);
    this.block = [];
    for (let i = 0; i < COLUMN_BLOCK; i++) this.block.push(new Float64Array(2 * size));
  }

  /**
   * Transforms `grid` (2 × size × size, row-major, interleaved) in place; `inverse` includes the factor 1/size².
   * Only the first `rows` rows may be non-zero on input (the others are not transformed along x).
   */
  transform(grid: Float64Array, inverse: boolean, rows = this.size): void {
    this.transformRows(grid, inverse, rows);
    for (let column = 0; column < this.size; column += COLUMN_BLOCK) {
      this.transformColumns(grid, inverse, column, rows);
      this.storeColumns(grid, column);
    }
  }

  /**
   * |FT|² of a pupil, added to `intensity` (size × size) with `weight`.
   *
   * @param grid the pupil, destroyed; non-zero only in its first `rows` rows
   * @param symmetric the pupil is unchanged by a half turn: half of the columns then give the other half
   */
  addIntensity(
    grid: Float64Array,
    rows: number,
    symmetric: boolean,
    weight: number,
    intensity: Float64Array,
  ): void {
    const { size } = this;
    this.transformRows(grid, false, rows);
    const lastColumn = symmetric ? size / 2 : size - 1;
    for (let column = 0; column <= lastColumn; column += COLUMN_BLOCK) {
      this.transformColumns(grid, false, column, rows);
      const columns = Math.min(COLUMN_BLOCK, lastColumn + 1 - column);
      for (let k = 0; k < columns; k++) squareInPlace(this.block[k], size, weight);
      for (let y = 0; y < size; y++) {
        const at = y * size + column;
        const mirror = ((size - y) % size) * size + size - column;
        for (let k = 0; k < columns; k++) {
          const value = this.block[k][y];
          intensity[at + k] += value;
          // Column 0 and column size/2 are their own mirror images.
          if (symmetric && column + k > 0 && column + k < size / 2) intensity[mirror - k] += value;
        }
      }
    }
  }

  private transformRows(grid: Float64Array, inverse: boolean, rows: number): void {
    const { size, fft, input, output } = this;
    for (let y = 0; y < rows; y++) {
      const base = 2 * size * y;
      for (let i = 0; i < 2 * size; i++) input[i] = grid[base + i];
      if (inverse) fft.inverseTransform(output, input);
      else fft.transform(output, input);
      for (let i = 0; i < 2 * size; i++) grid[base + i] = output[i];
    }
  }

  /** Transforms COLUMN_BLOCK columns from `column` on into `this.block`. */
  private transformColumns(
    grid: Float64Array,
    inverse: boolean,
    column: number,
    rows: number,
  ): void {
    const { size, fft, input, block } = this;
    for (let k = 0; k < COLUMN_BLOCK; k++) {
      const values = block[k];
      for (let i = 2 * rows; i < 2 * size; i++) values[i] = 0;
    }
    for (let y = 0; y < rows; y++) {
      const base = 2 * (size * y + column);
      for (let k = 0; k < COLUMN_BLOCK; k++) {
        const values = block[k];
        values[2 * y] = grid[base + 2 * k];
        values[2 * y + 1] = grid[base + 2 * k + 1];
      }
    }
    for (let k = 0; k < COLUMN_BLOCK; k++) {
      const values = block[k];
      for (let i = 0; i < 2 * size; i++) input[i] = values[i];
      if (inverse) fft.inverseTransform(values, input);
      else fft.transform(values, input);
    }
  }

  private storeColumns(grid: Float64Array, column: number): void {
    const { size, block } = this;
    for (let y = 0; y < size; y++) {
      const base = 2 * (size * y + column);
      for (let k = 0; k < COLUMN_BLOCK; k++) {
        const values = block[k];
        grid[base + 2 * k] = values[2 * y];
        grid[base + 2 * k + 1] = values[2 * y + 1];
      }
    }
  }
}

/** Replaces interleaved complex values by weight × |value|², packed into the first `size` elements. */
function squareInPlace(values: Float64Array, size: number, weight: number): void {
  for (let i = 0; i < size; i++) {
    const re = values[2 * i];
    const im = values[2 * i + 1];
    values[i] = weight * (re * re + im * im);
  }
}
