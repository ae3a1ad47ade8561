/** Frozen star measurements of independent libraries: fixtures/reference/star-*.json, made by stars.py beside them. */
import { readFileSync } from 'node:fs';
import type { StarCatalogue } from '../../src/catalogue/catalogue.js';
import { fixture } from './data-files.js';

/** One least-squares fit by scipy.optimize.curve_fit with equal weights; errors are 1 σ. */
export interface ReferenceFit {
  x: number;
  y: number;
  xErr: number;
  yErr: number;
  flux: number;
  fwhmOptical: number;
  fwhmRecorded: number | null;
  /** Relative error of the size. */
  relErr: number;
  e1: number;
  e2: number;
  beta: number | 'Infinity';
}

/** Keyed by exponent: '1.5' … '8.0', 'Infinity', and 'free'. Null where the fit failed. */
export type ReferenceFits = Record<string, ReferenceFit | null>;

export interface ReferenceStar {
  x: number;
  y: number;
  stampCentre: [number, number];
  peakOverNoise: number;
  windowed: { x: number; y: number };
  gaussian2d: { x: number | null; y: number | null };
  fits: ReferenceFits;
  /** Light inside `growthRadiusPx`, exact circles (sep.sum_circle). */
  growth: number[];
  r50Within10: number;
}

export interface LevelAndNoise {
  level: number;
  rms: number;
}

export interface ReferencePlane {
  background: { sep: LevelAndNoise; photutils: LevelAndNoise };
  found: number;
  stars: ReferenceStar[];
  growthRadiusPx: number[];
  effectiveProfile?: { fwhmRecorded: number; stars: number };
}

export interface ReferenceMosaic {
  cfa: string;
  /** Keyed 'xyC': parities of the lattice and its colour. */
  lattices: Record<string, { sep: LevelAndNoise; photutils: LevelAndNoise }>;
  stars: {
    x: number;
    y: number;
    peakOverNoise: number;
    channels: Record<'R' | 'G' | 'B', ReferenceFits>;
  }[];
}

export interface StarReference {
  file: string;
  shared: string | null;
  planes?: Record<string, ReferencePlane>;
  mosaic?: ReferenceMosaic;
}

export function starReference(name: string): StarReference {
  return JSON.parse(readFileSync(fixture(`reference/star-${name}.json`), 'utf8'));
}

/** Key of a published exponent (null = Gaussian) in `ReferenceFits`. */
export function exponentKey(beta: number | null): string {
  return beta === null || beta === Number.POSITIVE_INFINITY ? 'Infinity' : beta.toFixed(1);
}

/** Row of the catalogue nearest to a position, at most `reachPx` away; −1 when there is none. */
export function nearestRow(
  catalogue: StarCatalogue,
  x: number,
  y: number,
  reachPx: number,
): number {
  const columnX = catalogue.columns.x as Float64Array;
  const columnY = catalogue.columns.y as Float64Array;
  let row = -1;
  let nearest = reachPx;
  for (let i = 0; i < catalogue.length; i++) {
    const distance = Math.hypot((columnX[i] as number) - x, (columnY[i] as number) - y);
    if (distance < nearest) {
      nearest = distance;
      row = i;
    }
  }
  return row;
}

/** Radius holding half of what `growth` holds at `withinPx`, by linear interpolation. */
export function halfLightRadius(
  radiusPx: readonly number[],
  growth: readonly number[],
  withinPx: number,
): number {
  const at = (r: number): number => {
    const i = radiusPx.findIndex((value) => value >= r);
    if (i <= 0) return growth[Math.max(0, i)] as number;
    const r0 = radiusPx[i - 1] as number;
    const t = (r - r0) / ((radiusPx[i] as number) - r0);
    return (growth[i - 1] as number) * (1 - t) + (growth[i] as number) * t;
  };
  const half = at(withinPx) / 2;
  let low = 0.5;
  let high = withinPx;
  while (high - low > 1e-5) {
    const middle = (low + high) / 2;
    if (at(middle) < half) low = middle;
    else high = middle;
  }
  return (low + high) / 2;
}
