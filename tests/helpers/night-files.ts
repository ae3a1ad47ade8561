/** FITS files of an invented night: one star field, frames with planted faults (as in night.ts), really drawn. */
import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { encodeFits, type WritableCard } from '../../src/frame/fits/write.js';
import { createRandom, normal } from '../../src/stats/random.js';
import type { Planted } from './night.js';
import { type PlantedSample, type PlantedStar, plantedFrame } from './planted-frame.js';

export interface NightFilesPlan {
  seed: number;
  frames: readonly Planted[];
  width?: number;
  height?: number;
  stars?: number;
  fwhmPx?: number;
  seeingScatter?: number;
  layout?: 'mono' | 'cfa';
  object?: string;
  startMs?: number;
}

/** What was planted into one frame, scatter included. */
export interface NightTruth {
  fwhmPx: number;
  transparency: number;
  skyElectrons: number;
  /** Squared signal-to-noise of a faint star, up to a factor common to all. */
  weight: number;
}

/** Six frames to keep, then two to drop: one whose stars are wide, one without any. */
export const SIX_OF_EIGHT: NightFilesPlan = {
  seed: 41,
  frames: [...Array.from({ length: 6 }, () => ({})), { wide: 1.9 }, { noStars: true }],
  width: 300,
  height: 240,
  stars: 40,
};

const SKY_ELECTRONS = 150;
const EXPOSURE_SECONDS = 120;

/** One file's bytes and the truth about it. Deterministic in the plan and the index. */
export function nightFile(
  plan: NightFilesPlan,
  index: number,
): { bytes: Uint8Array; truth: NightTruth } {
  const { width = 480, height = 360, stars = 70, fwhmPx = 2.6, layout = 'mono' } = plan;
  const fault = plan.frames[index] ?? {};
  const field = fieldOf(plan.seed + (fault.otherField ? 5000 : 0), stars, width, height);
  const random = createRandom(plan.seed * 7919 + index);
  const fwhm = fwhmPx * (fault.wide ?? 1) * Math.exp((plan.seeingScatter ?? 0.03) * normal(random));
  const light = fault.noStars ? 0 : (fault.transparency ?? 1) * Math.exp(0.01 * normal(random));
  const sky = SKY_ELECTRONS * (fault.sky ?? 1);
  const angle = ((fault.turnDeg ?? 0) * Math.PI) / 180;
  const [sx, sy] = fault.shift ?? [0, 0];
  const planted: PlantedStar[] =
    light === 0
      ? []
      : field.map(({ x, y, flux }) => {
          const dx = x - width / 2;
          const dy = y - height / 2;
          return {
            x: width / 2 + dx * Math.cos(angle) - dy * Math.sin(angle) + sx,
            y: height / 2 + dx * Math.sin(angle) + dy * Math.cos(angle) + sy,
            flux: flux * light,
            fwhmPx: fwhm,
            ellipticity: fault.ellipticity ?? 0.03,
            angleDeg: 35,
          };
        });
  const { data } = plantedFrame({
    width,
    height,
    layout,
    stars: planted,
    samples: fault.trail ? trailSamples(width, height) : [],
    sky,
    seed: plan.seed * 131 + index,
  });
  const start = (plan.startMs ?? Date.UTC(2026, 1, 14, 20, 0, 0)) + index * 130_000;
  const cards: WritableCard[] = [
    { keyword: 'EXPTIME', value: EXPOSURE_SECONDS },
    { keyword: 'DATE-OBS', value: new Date(start).toISOString().slice(0, 19) },
    { keyword: 'OBJECT', value: plan.object ?? 'Invented Cluster 5' },
    { keyword: 'FILTER', value: layout === 'cfa' ? 'none' : 'G' },
    { keyword: 'EGAIN', value: 1 },
    { keyword: 'IMAGETYP', value: 'Light Frame' },
    ...(fault.focusPosition === undefined
      ? []
      : [{ keyword: 'FOCUSPOS', value: fault.focusPosition }]),
    ...(fault.ambientTemperatureC === undefined
      ? []
      : [{ keyword: 'FOCTEMP', value: fault.ambientTemperatureC }]),
    ...(layout === 'cfa' ? [{ keyword: 'BAYERPAT', value: 'RGGB' }] : []),
  ];
  return {
    bytes: encodeFits({ width, height, planes: 1, data }, cards),
    truth: {
      fwhmPx: fwhm,
      transparency: light,
      skyElectrons: sky,
      // Read noise of 2 electrons; area of the recorded image, the pixel's 1/12 px² of variance included.
      weight: light ** 2 / ((sky + 4) * (fwhm ** 2 + (8 * Math.LN2) / 12)),
    },
  };
}

/** Writes every file of the plan as sub-001.fits and so on; returns the paths and truths. */
export function writeNight(
  plan: NightFilesPlan,
  folder: string,
): { files: string[]; truths: NightTruth[] } {
  mkdirSync(folder, { recursive: true });
  const files: string[] = [];
  const truths: NightTruth[] = [];
  plan.frames.forEach((_, index) => {
    const { bytes, truth } = nightFile(plan, index);
    const file = join(folder, `sub-${String(index + 1).padStart(3, '0')}.fits`);
    writeFileSync(file, bytes);
    files.push(file);
    truths.push(truth);
  });
  return { files, truths };
}

/** The field reaches beyond the frame, so that shifted frames are as rich. */
function fieldOf(
  seed: number,
  stars: number,
  width: number,
  height: number,
): { x: number; y: number; flux: number }[] {
  const random = createRandom(seed);
  return Array.from({ length: Math.round(1.5 * stars) }, () => ({
    x: (random() * 1.22 - 0.11) * width,
    y: (random() * 1.22 - 0.11) * height,
    flux: 4000 / (0.025 + random()),
  }));
}

function trailSamples(width: number, height: number): PlantedSample[] {
  const samples: PlantedSample[] = [];
  for (let x = 0; x < width; x++) {
    const middle = 0.2 * height + 0.5 * x;
    for (let y = Math.max(0, Math.ceil(middle - 4)); y < Math.min(height, middle + 4); y++) {
      samples.push({ x, y, electrons: 90 * Math.exp(-((y - middle) ** 2) / 2.4) });
    }
  }
  return samples;
}
