/** One simulated sky through the measurement, and what came out beside what is true. */
import { planChannels } from '../../src/detect/lattice.js';
import { type IlluminationResult, measureIllumination } from '../../src/field/illumination.js';
import type { Uncertain } from '../../src/measure/result.js';
import { skyFrame } from '../../tests/helpers/sky-frame.js';
import type { TestSky } from './skies.js';

export const QUANTITIES = [
  'mean corner',
  'darkest corner',
  'single corner',
  'radius of 90 %',
  'radius of 75 %',
  'radius of 50 %',
  'centre x, y',
  'slope of the sky x, y',
] as const;
export type Quantity = (typeof QUANTITIES)[number];

export interface Measured {
  quantity: Quantity;
  truth: number;
  value: number;
  low: number;
  high: number;
}

export interface SkyOutcome {
  kind: TestSky['kind'];
  layout: string;
  status: string;
  reason: string | null;
  flat: string;
  /** Whether the lit circle fills the sensor: told and true. */
  fills: string;
  fillsTruth: 'yes' | 'no';
  shape: string | null;
  /** Radii that were given although they lie beyond the frame, and the other way round. */
  radiusBeyond: number;
  radiusMissed: number;
  measured: Measured[];
  ms: number;
}

export function outcomeOf(sky: TestSky): SkyOutcome {
  const frame = skyFrame(sky.options);
  const { options } = sky;
  const start = process.cpuUsage();
  const result = measureIllumination({
    rows: frame.rows,
    plan: planChannels(frame),
    pedestal: {
      source: 'option',
      adu: sky.toldPedestalAdu,
      errorAdu: sky.pedestalErrorAdu,
      latticeAdu: null,
    },
    gainElectronsPerAdu: options.gain,
    pixelSizeUm: null,
    focalLengthMm: null,
    linear: true,
    seed: 1,
  });
  const { user, system } = process.cpuUsage(start);
  return compare(sky, result, (user + system) / 1000);
}

/** What came out beside what is true. */
function compare(sky: TestSky, result: IlluminationResult, ms: number): SkyOutcome {
  const { options } = sky;
  const outcome: SkyOutcome = {
    kind: sky.kind,
    layout: options.layout,
    status: result.status,
    reason: result.reason,
    flat: result.flat.state,
    fills: result.fillsSensor,
    fillsTruth: Math.min(...sky.corners) >= 50 ? 'yes' : 'no',
    shape: null,
    radiusBeyond: 0,
    radiusMissed: 0,
    measured: [],
    ms,
  };
  const leading = result.channels[result.reference ?? -1];
  if (!leading) return outcome;
  outcome.shape = leading.kind;
  const add = (quantity: Quantity, truth: number, value: Uncertain | null): void => {
    if (value) outcome.measured.push({ quantity, truth, ...value });
  };
  const mean = sky.corners.reduce((sum, corner) => sum + corner, 0) / 4;
  add('mean corner', mean, leading.meanCornerPercent);
  add('darkest corner', Math.min(...sky.corners), leading.darkestCornerPercent);
  leading.cornersPercent?.forEach((corner, c) => {
    add('single corner', sky.corners[c], corner);
  });
  const half = 0.5 * Math.sqrt(options.width ** 2 + options.height ** 2);
  leading.radii.forEach(({ illuminationPercent, radiusPx }, k) => {
    const truth = sky.radii[k];
    if (truth === null) {
      if (radiusPx?.value != null) outcome.radiusBeyond++;
      return;
    }
    if (radiusPx?.value == null) {
      outcome.radiusMissed++;
      return;
    }
    add(`radius of ${illuminationPercent} %` as Quantity, 100 * truth, {
      value: (100 * radiusPx.value) / half,
      low: radiusPx.low === null ? Number.NEGATIVE_INFINITY : (100 * radiusPx.low) / half,
      high: radiusPx.high === null ? Number.POSITIVE_INFINITY : (100 * radiusPx.high) / half,
    });
  });
  const inHalves = ({ value, low, high }: Uncertain): Uncertain => ({
    value: (100 * value) / half,
    low: (100 * low) / half,
    high: (100 * high) / half,
  });
  if (leading.centreOffsetPx) {
    add('centre x, y', 100 * options.centre[0], inHalves(leading.centreOffsetPx.x));
    add('centre x, y', 100 * options.centre[1], inHalves(leading.centreOffsetPx.y));
  }
  if (leading.gradientPercent && leading.gradientSeparated) {
    const { x, y } = leading.gradientPercent;
    add('slope of the sky x, y', 200 * options.gradient[0] * (options.width / 2 / half), x);
    add('slope of the sky x, y', 200 * options.gradient[1] * (options.height / 2 / half), y);
  }
  return outcome;
}
