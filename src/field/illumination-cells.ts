/** The sky in the cells of the grid, per channel, in coordinates that the fall-off is fitted in. */
import type { Channel, ChannelPlan } from '../detect/lattice.js';
import type { SkyGrid } from './illumination-grid.js';
import type { Pedestal } from './pedestal.js';

/**
 * Cells with a value, one array per quantity. Places are relative to the frame's centre, in half diagonals: a corner of the
 * frame lies at distance 1.
 */
export interface SkyCells {
  channel: Channel;
  cellsX: number;
  cellsY: number;
  /** Half diagonal of the frame, px. */
  halfDiagonalPx: number;
  /** Half width and half height in half diagonals. */
  halfWidth: number;
  halfHeight: number;
  n: number;
  /** Cell number, row-major. */
  cell: Int32Array;
  x: Float64Array;
  y: Float64Array;
  /** Light: level less pedestal (or less 0 where it is not known), ADU. */
  light: Float64Array;
  /** 1 σ of `light` by the noise of the samples alone, ADU. */
  spread: Float64Array;
}

/**
 * Sky of one channel; the lattices of a channel are averaged.
 * @param pedestal null = levels as recorded
 */
export function skyCells(
  grid: SkyGrid,
  plan: ChannelPlan,
  channel: number,
  pedestal: Pedestal | null,
): SkyCells {
  const lattices = plan.ofChannel[channel] as number[];
  const { cellsX, cellsY, width, height } = grid;
  const cells = cellsX * cellsY;
  const halfDiagonalPx = 0.5 * Math.sqrt(width * width + height * height);
  const cell = new Int32Array(cells);
  const x = new Float64Array(cells);
  const y = new Float64Array(cells);
  const light = new Float64Array(cells);
  const spread = new Float64Array(cells);
  let n = 0;
  for (let i = 0; i < cells; i++) {
    let sum = 0;
    let squares = 0;
    let column = 0;
    let row = 0;
    for (const l of lattices) {
      const zero = pedestal ? (pedestal.latticeAdu?.[l] ?? pedestal.adu) : 0;
      sum += (grid.level[l * cells + i] as number) - zero;
      column += grid.columnPx[l * cellsX + (i % cellsX)] as number;
      row += grid.rowPx[l * cellsY + Math.floor(i / cellsX)] as number;
      squares += (grid.variance[l * cells + i] as number) / (grid.samples[l * cells + i] as number);
    }
    if (sum !== sum) continue;
    cell[n] = i;
    x[n] = (column / lattices.length - (width - 1) / 2) / halfDiagonalPx;
    y[n] = (row / lattices.length - (height - 1) / 2) / halfDiagonalPx;
    light[n] = sum / lattices.length;
    // A frame without noise weighs all cells alike.
    spread[n] = squares > 0 ? Math.sqrt(squares) / lattices.length : 1;
    n++;
  }
  return {
    channel: plan.channels[channel] as Channel,
    cellsX,
    cellsY,
    halfDiagonalPx,
    halfWidth: width / 2 / halfDiagonalPx,
    halfHeight: height / 2 / halfDiagonalPx,
    n,
    cell: cell.subarray(0, n),
    x: x.subarray(0, n),
    y: y.subarray(0, n),
    light: light.subarray(0, n),
    spread: spread.subarray(0, n),
  };
}

/** The cells for which `keep` holds. */
export function cellsWhere(cells: SkyCells, keep: (i: number) => boolean): SkyCells {
  const index = Array.from({ length: cells.n }, (_, i) => i).filter(keep);
  const pick = (values: Float64Array): Float64Array =>
    Float64Array.from(index, (i) => values[i] as number);
  return {
    ...cells,
    n: index.length,
    cell: Int32Array.from(index, (i) => cells.cell[i] as number),
    x: pick(cells.x),
    y: pick(cells.y),
    light: pick(cells.light),
    spread: pick(cells.spread),
  };
}
