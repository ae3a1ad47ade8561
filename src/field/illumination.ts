/** Light fall-off of a frame: from the sky in a grid of cells to illumination, radii and the edge of the lit circle.
 *
 * docs/field.md defines the quantities. Nothing is given in percent without a pedestal, and nothing is called the lens's
 * where a flat field was applied.
 */
import type { Channel, ChannelPlan } from '../detect/lattice.js';
import type { RowSource } from '../frame/frame.js';
import { skyCells } from './illumination-cells.js';
import { fitFallOff } from './illumination-fit.js';
import { type FlatVerdict, judgeFlat } from './illumination-flat.js';
import { measureSkyGrid, type SkyGrid } from './illumination-grid.js';
import { meanSpread } from './illumination-loss.js';
import { type FallOffReading, illuminationMap, readFallOff } from './illumination-profile.js';
import { type FallOffShape, judgeShape } from './illumination-shape.js';
import type { Pedestal } from './pedestal.js';

/** What the measurement starts from. Null = unknown. */
export interface IlluminationInput {
  rows: RowSource;
  plan: ChannelPlan;
  pedestal: Pedestal | null;
  gainElectronsPerAdu: number | null;
  pixelSizeUm: number | null;
  focalLengthMm: number | null;
  /** False when the frame was found to be stretched. */
  linear: boolean | null;
  /** True when the stars crowd in the middle of the frame (`crowdedMiddle`): their faint companions brighten the sky there. */
  crowdedMiddle?: boolean;
  /** Why the pedestal that was asked for is not there; null when there is no more to say than that it is unknown. */
  pedestalFault?: string | null;
  seed: number;
}

/** 'flat applied': the sky says nothing of the lens. 'cannot tell': `reason` says why. */
export type IlluminationStatus = 'measured' | 'flat applied' | 'cannot tell';
export type Fills = 'yes' | 'no' | 'cannot tell';

export interface ChannelIllumination extends FallOffReading, FallOffShape {
  channel: Channel;
  /** Scatter of the cells about the fit in percent of the centre's light: noise, nebulae, what the profile does not follow. */
  unevenPercent: number;
  cells: number;
  /** Cells that the fit left out as too bright or too dark (nebula, bright star, defect). */
  cellsLeftOut: number;
  /** Percent of the centre's light per grid cell, row-major, the sky's slope taken out; null where a cell is empty. */
  map: { cellsX: number; cellsY: number; percent: (number | null)[] };
}

export interface IlluminationResult {
  status: IlluminationStatus;
  /** Why nothing, or not all, can be said; null when measured without reserve. */
  reason: string | null;
  pedestal: Pedestal | null;
  flat: FlatVerdict;
  /** Index into `channels` of the one that sentences refer to (G or L); null when nothing was measured. */
  reference: number | null;
  channels: ChannelIllumination[];
  /** Whether every corner gets at least half of the centre's light. */
  fillsSensor: Fills;
  /** Without a pedestal: the mean corner gets at most this share of the centre's light, since a pedestal is never negative. */
  cornerAtMostPercent: number | null;
  /** What the numbers rest on and what they leave open. */
  limits: string[];
}

/** Light at every corner from which the lit circle is said to fill the sensor, percent of the centre's. */
const LIT_PERCENT = 50;
/** Light of the sky must exceed the pedestal's error by this factor. */
const LEAST_LIGHT_SIGMA = 5;
/** Field of view (half diagonal) from which the sky's own curve matters: 7/2 × angle² at 60° from the zenith is 1 % there. */
const WIDE_FIELD_RAD = 0.053;
/** Cells along either axis. */
const FEWEST_CELLS = 6;
/** Change from centre to corner zones that counts as none, percent. */
const EVEN_PERCENT = 3;
/** Scatter about the profile of a lens over that about any profile, and share of cells left out, above which it is no lens that shapes the sky. */
const LARGEST_MISFIT = 1.5;
const MOST_LEFT_OUT = 0.4;
/** Scatter of the cells about the fit, in percent of the light and in units of the samples' noise, above which it is no sky that is seen. */
const RUGGED_PERCENT = 4;
const RUGGED_NOISE = 3;
/** Error of the mean corner above which nothing is given, percentage points. */
const LARGEST_ERROR = 6;
/** Radius of half the light, in half diagonals, below which it is rather an object that is seen: such a circle reaches no side of the frame. */
const SMALLEST_LIT = 0.45;
const NO_LENS =
  'the sky is not shaped as a lens shapes it: a galaxy, cluster or nebula, clouds or stray light cannot be separated from the fall-off; a frame of an empty field decides';
/** Scatter about the fit from which the sky is called uneven, percent. */
const UNEVEN_PERCENT = 2;

/**
 * Measures the fall-off. Cost: one pass over a part of the rows, and some 50 ms a channel.
 * @throws FrameReadError when rows cannot be read
 */
export function measureIllumination(input: IlluminationInput): IlluminationResult {
  return readGrid(measureSkyGrid(input.rows, input.plan), input);
}

/** The same from the grid on. */
function readGrid(grid: SkyGrid, input: IlluminationInput): IlluminationResult {
  const { plan, pedestal, gainElectronsPerAdu, linear, seed } = input;
  const flat = judgeFlat(grid, pedestal, gainElectronsPerAdu);
  const nothing = (status: IlluminationStatus, reason: string): IlluminationResult => ({
    status,
    reason,
    pedestal,
    flat,
    reference: null,
    channels: [],
    fillsSensor: 'cannot tell',
    cornerAtMostPercent: null,
    limits: [],
  });
  if (linear === false) {
    return nothing(
      'cannot tell',
      'the frame is not linear: its levels are not proportional to light',
    );
  }
  if (flat.state === 'flat applied') {
    return nothing(
      'flat applied',
      'a flat field was applied: the sky is evened out and says nothing of the fall-off; use a frame without flat correction',
    );
  }
  if (pedestal === null) {
    return {
      ...nothing(
        'cannot tell',
        input.pedestalFault ??
          'the level of no light is not known, so levels are not light: give --pedestal or --bias',
      ),
      cornerAtMostPercent: upperBound(grid, flat),
    };
  }
  if (grid.cellsX < FEWEST_CELLS || grid.cellsY < FEWEST_CELLS) {
    return nothing(
      'cannot tell',
      `the frame is too small: the fall-off needs ${FEWEST_CELLS} × ${FEWEST_CELLS} cells of sky, ${input.rows.width} × ${input.rows.height} px hold ${grid.cellsX} × ${grid.cellsY}`,
    );
  }
  if (flat.state === 'cannot tell') return nothing('cannot tell', doubtOf(flat));
  if (input.crowdedMiddle) {
    return nothing(
      'cannot tell',
      'the stars crowd in the middle of the frame: the light of a cluster cannot be separated from the fall-off; a frame of another field decides',
    );
  }
  const pixelSizeMm = input.pixelSizeUm === null ? null : input.pixelSizeUm / 1000;
  const channels: ChannelIllumination[] = [];
  let reference: number | null = null;
  let reason: string | null = null;
  for (let c = 0; c < plan.channels.length; c++) {
    const all = skyCells(grid, plan, c, pedestal);
    const fitted = fitFallOff(all);
    if (!fitted) {
      reason ??=
        all.n < FEWEST_CELLS * FEWEST_CELLS
          ? 'too few cells hold a sky level: the frame is mostly empty'
          : NO_LENS;
      continue;
    }
    const { fit, cells } = fitted;
    const light = fit.scale * (fit.p[0] as number);
    const leftOut = fit.weight.reduce((sum, w) => sum + (w < 0.1 ? 1 : 0), all.n - cells.n);
    if (!(light > LEAST_LIGHT_SIGMA * Math.max(pedestal.errorAdu, fit.cellErrorAdu))) {
      reason ??=
        'the sky hardly rises above the pedestal: a longer exposure or a brighter sky is needed';
      continue;
    }
    const rugged =
      fit.cellErrorAdu > RUGGED_PERCENT * 0.01 * light &&
      fit.cellErrorAdu > RUGGED_NOISE * meanSpread(cells);
    if (fitted.misfit > LARGEST_MISFIT || leftOut > MOST_LEFT_OUT * all.n || rugged) {
      reason ??= NO_LENS;
      continue;
    }
    const reading = readFallOff(fit, cells, pedestal, pixelSizeMm, seed + c);
    const { low, high } = reading.meanCornerPercent;
    if (high - low > 2 * LARGEST_ERROR) {
      reason ??= `the light at the corners is known no better than ${low.toFixed(0)} to ${high.toFixed(0)} % of the centre's: parts of the frame contradict each other, or the sky is too dark against its noise or the pedestal's error`;
      continue;
    }
    const half = reading.radii.find((each) => each.illuminationPercent === 50)?.radiusPx.value;
    if (half != null && half < SMALLEST_LIT * cells.halfDiagonalPx) {
      reason ??=
        'the light is confined to the middle of the frame: an object on a dark sky, or a lit circle smaller than the sides of the frame; a frame of an empty, brighter sky decides';
      continue;
    }
    if (c === plan.reference) reference = channels.length;
    channels.push({
      channel: all.channel,
      ...reading,
      ...judgeShape(fit, cells, reading, pixelSizeMm, input.focalLengthMm),
      unevenPercent: (100 * fit.cellErrorAdu) / light,
      cells: all.n,
      cellsLeftOut: leftOut,
      map: { cellsX: grid.cellsX, cellsY: grid.cellsY, percent: illuminationMap(fit, all) },
    });
  }
  if (reference === null) return nothing('cannot tell', reason as string);
  const leading = channels[reference] as ChannelIllumination;
  return {
    status: 'measured',
    reason: null,
    pedestal,
    flat,
    reference,
    channels,
    fillsSensor: fills(leading),
    cornerAtMostPercent: null,
    limits: limitsOf(input, pedestal, leading),
  };
}

/** Why the sky is not read where neither a raw frame nor a flat is seen. */
function doubtOf({ levelChangePercent }: FlatVerdict): string {
  if (levelChangePercent === null) {
    return 'the corners cannot be compared with the centre: too few cells hold a sky level';
  }
  const { value, low, high } = levelChangePercent;
  const even = Math.abs(value) < Math.max(EVEN_PERCENT, 2 * (high - low));
  return even
    ? 'the sky is about even: either the field is evenly lit, or a flat field was applied; a frame known to be without flat correction decides'
    : `the sky's level changes by ${value.toFixed(0)} % from the centre to the corners, but its noise does not confirm that the light does: a nebula or cluster, a flat field, or noise of the electronics look like this; a longer exposure without flat correction decides`;
}

/** 95 % of the interval must lie on one side. */
function fills({ darkestCornerPercent: { value, low, high } }: FallOffReading): Fills {
  if (value - 2 * (value - low) >= LIT_PERCENT) return 'yes';
  return value + 2 * (high - value) < LIT_PERCENT ? 'no' : 'cannot tell';
}

/**
 * Light at the corner is (level − pedestal) there over that at the centre; for a pedestal ≥ 0 it is at most the ratio of the levels.
 * Given only when the sky is raw and clearly falls, so that the ratio is below 1, and no sample lies below zero.
 */
function upperBound(grid: SkyGrid, flat: FlatVerdict): number | null {
  const change = flat.levelChangePercent;
  if (flat.state !== 'raw' || change === null || !(grid.minimum >= 0)) return null;
  // Two halves of the interval up: about 98 % sure.
  const bound = 100 + change.value + 2 * (change.high - change.value);
  return bound < 100 ? bound : null;
}

function limitsOf(
  input: IlluminationInput,
  pedestal: Pedestal,
  leading: ChannelIllumination,
): string[] {
  const limits: string[] = [];
  const origin = {
    header: 'the header',
    option: 'the given value',
    bias: 'the bias frame',
  }[pedestal.source];
  limits.push(
    `The pedestal of ${pedestal.adu.toFixed(1)} ADU is that of ${origin}; an error of 1 ADU would change the corners by ${Math.abs(leading.cornerPercentPerPedestalAdu).toPrecision(1)} percentage points. Dark current and stray light count as light.`,
  );
  if (!leading.gradientSeparated) {
    limits.push(
      'A sky that is brighter on one side and a lit circle beside the middle of the frame look alike here: the centre is taken to lie within about 15 % of the half diagonal of the middle, and single corners are as uncertain as that makes them.',
    );
  }
  const { pixelSizeUm, focalLengthMm } = input;
  const halfAngle =
    pixelSizeUm !== null && focalLengthMm !== null
      ? (0.0005 * pixelSizeUm * Math.sqrt(input.rows.width ** 2 + input.rows.height ** 2)) /
        focalLengthMm
      : null;
  if (halfAngle === null || halfAngle > WIDE_FIELD_RAD) {
    limits.push(
      'A sky that brightens in a curve (a wide field near the horizon, a nebula across the whole frame) cannot be told from fall-off.',
    );
  }
  if (leading.unevenPercent > UNEVEN_PERCENT) {
    limits.push(
      `The sky scatters by ${leading.unevenPercent.toFixed(1)} % about the fit: nebulae or clouds, and the numbers suffer from them.`,
    );
  }
  return limits;
}
