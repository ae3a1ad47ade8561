/** Records of an invented night without images: one star field, frames with planted faults, truth beside them. */
import type { NightFrame } from '../../src/grade/night-frame.js';
import type { Uncertain } from '../../src/measure/result.js';
import { createRandom, normal } from '../../src/stats/random.js';

/** How a frame differs from a good one. Everything may be left out. */
export interface Planted {
  /** FWHM over the usual. */
  wide?: number;
  ellipticity?: number;
  transparency?: number;
  /** Sky variance over the usual. */
  sky?: number;
  /** Shift of the field, px, and turn, degrees. */
  shift?: [number, number];
  turnDeg?: number;
  noStars?: boolean;
  otherField?: boolean;
  focusPosition?: number;
  ambientTemperatureC?: number;
  trail?: boolean;
}

export interface NightPlan {
  seed: number;
  frames: Planted[];
  stars?: number;
  width?: number;
  height?: number;
  fwhmPx?: number;
  /** Scatter of the seeing from frame to frame, relative. */
  seeingScatter?: number;
  exposureSeconds?: number;
  object?: string | null;
  filter?: string | null;
  startMs?: number;
}

const START = Date.UTC(2026, 1, 14, 20, 0, 0);
const NOISE_ADU = 12;
/** 1/∫p² of a Gaussian: 4πσ². */
const areaOf = (fwhm: number): number => 4 * Math.PI * (fwhm / 2.3548) ** 2;

/** The records in the order of time, named sub-001.fits and so on. */
export function makeNight(plan: NightPlan): NightFrame[] {
  const { seed, frames, stars = 150, width = 1500, height = 1000, fwhmPx = 3 } = plan;
  const random = createRandom(seed);
  const field = (): { x: number; y: number; flux: number }[] =>
    Array.from({ length: 2 * stars }, () => ({
      x: (random() * 1.4 - 0.2) * width,
      y: (random() * 1.4 - 0.2) * height,
      // Numbers as 10^(0.4 m): ten times as many a factor of ten fainter.
      flux: 4000 * random() ** -1,
    }));
  const sky = field();
  const other = field();
  return frames.map((fault, k): NightFrame => {
    const fwhm =
      fwhmPx * (fault.wide ?? 1) * Math.exp((plan.seeingScatter ?? 0.04) * normal(random));
    const noise = NOISE_ADU * Math.sqrt(fault.sky ?? 1) * Math.exp(0.01 * normal(random));
    const light = (fault.transparency ?? 1) * Math.exp(0.015 * normal(random));
    const angle = ((fault.turnDeg ?? 0) * Math.PI) / 180;
    const [sx, sy] = fault.shift ?? [0, 0];
    const error = noise * Math.sqrt(areaOf(fwhm));
    const seen = (fault.otherField ? other : sky)
      .map(({ x, y, flux }) => {
        const dx = x - width / 2;
        const dy = y - height / 2;
        return {
          x: width / 2 + dx * Math.cos(angle) - dy * Math.sin(angle) + sx + 0.05 * normal(random),
          y: height / 2 + dx * Math.sin(angle) + dy * Math.cos(angle) + sy + 0.05 * normal(random),
          flux: flux * light + error * normal(random),
        };
      })
      .filter(
        ({ x, y, flux }) =>
          !fault.noStars && flux > 10 * error && x > 5 && y > 5 && x < width - 6 && y < height - 6,
      )
      .sort((a, b) => b.flux - a.flux)
      .slice(0, stars);
    const ellipticity = Math.abs((fault.ellipticity ?? 0.04) + 0.008 * normal(random));
    const around = (value: number, share: number): Uncertain => ({
      value,
      low: value * (1 - share),
      high: value * (1 + share),
    });
    const measured = seen.length > 2;
    return {
      file: `sub-${String(k + 1).padStart(3, '0')}.fits`,
      bytes: 1000,
      modifiedMs: START,
      sha256: null,
      status: 'ok',
      error: null,
      width,
      height,
      layout: 'mono',
      metadata: {
        exposureSeconds: plan.exposureSeconds ?? 120,
        gainElectronsPerAdu: null,
        isoSpeed: null,
        pixelSizeUm: null,
        binning: 1,
        focalLengthMm: null,
        apertureMm: null,
        filter: plan.filter === undefined ? 'G' : plan.filter,
        object: plan.object === undefined ? 'Invented Cluster 5' : plan.object,
        telescope: null,
        instrument: null,
        dateObs: null,
        airmass: null,
        sensorTemperatureC: null,
        focusPosition: fault.focusPosition ?? null,
        ambientTemperatureC: null,
        imageType: null,
        pierSide: null,
        saturationAdu: null,
        pedestalAdu: null,
      },
      imageType: 'light',
      pierSide: null,
      ambientTemperatureC: fault.ambientTemperatureC ?? null,
      startMs: (plan.startMs ?? START) + k * 130_000,
      scaleArcsecPerPx: 1.5,
      starsFound: seen.length,
      starsUsed: seen.length,
      fwhmPx: measured ? around(fwhm, 0.01) : null,
      ellipticity: measured ? around(ellipticity, 0.1) : null,
      elongationAngleDeg: measured ? 30 : null,
      backgroundAdu: 500 + (noise * noise) / 2,
      noiseAdu: noise,
      starAreaPx: measured ? areaOf(fwhm) : null,
      blueMinusRedPercent: null,
      trails: fault.trail
        ? [{ from: [0, 100], to: [width - 1, 400], lengthPx: 1500, log10FalseProbability: -12 }]
        : [],
      stars: {
        x: seen.map(({ x }) => x),
        y: seen.map(({ y }) => y),
        fluxAdu: seen.map(({ flux }) => flux),
        fluxErrorAdu: seen.map(() => error),
      },
      warnings: [],
    };
  });
}
