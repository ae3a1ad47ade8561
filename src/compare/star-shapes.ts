/** Sizes and shapes of single stars, of the common ones side by side: what rows and pictures of stars start from. */
import { recordedAxes, recordedEllipticity } from '../measure/fit-summary.js';
import type { SearchedFrame } from '../measure/search-frame.js';
import { createRecordedFwhmTable } from '../optics/pixel.js';
import { distanceFrom } from './common-field.js';
import type { CompareData, LabelData } from './label.js';
import type { PairedStars } from './result.js';

/** FWHM (px, pixel included), squared ellipticity with its noise taken off, and ellipticity of single-star fits. */
export interface FitShapes {
  fwhmPx: Float64Array;
  ellipticity: Float64Array;
  /** e² less what its own noise adds on average: unbiased, may be negative. */
  squared: Float64Array;
}

/** Shapes of the listed sources in the reference channel. */
export function fitShapes({ found }: SearchedFrame, sources: readonly number[]): FitShapes {
  const fits = found.sources.fits[found.reference];
  const n = sources.length;
  const out: FitShapes = {
    fwhmPx: new Float64Array(n).fill(Number.NaN),
    ellipticity: new Float64Array(n).fill(Number.NaN),
    squared: new Float64Array(n).fill(Number.NaN),
  };
  if (!fits) return out;
  const recorded = createRecordedFwhmTable(found.beta);
  sources.forEach((i, k) => {
    const [a, b] = recordedAxes(fits, i, found.beta, recorded);
    out.fwhmPx[k] = Math.sqrt(a * b);
    const [e1, e2] = recordedEllipticity(fits, i, found.beta, recorded);
    const e = Math.sqrt(e1 * e1 + e2 * e2);
    out.ellipticity[k] = e;
    // The fit's g is about twice e before the pixel; its error shrinks as the pixel shrinks e. Two components carry noise.
    const g = Math.sqrt((fits.g1[i] as number) ** 2 + (fits.g2[i] as number) ** 2);
    const error = (fits.gError[i] as number) * (g > 1e-6 ? e / g : 0.5);
    out.squared[k] = e * e - 2 * error * error;
  });
  return out;
}

/** Per-star numbers of the common stars, averaged over the frames of every label. */
export interface CommonShapes {
  /** Distance from the middle of the common field over its half diagonal. */
  distance: Float64Array;
  /** By label: FWHM in the angular unit, mean of e² without noise, ellipticity. */
  labels: {
    fwhm: Float64Array;
    squared: Float64Array;
    ellipticity: Float64Array;
    frames: FitShapes[];
  }[];
}

export function commonShapes(data: CompareData): CommonShapes {
  const [first] = data.labels as [LabelData, ...LabelData[]];
  const { sources } = first.frames[0].searched.found;
  const { field } = data;
  return {
    distance: Float64Array.from(
      first.frames[0].common,
      (i) =>
        distanceFrom(field, sources.x[i] as number, sources.y[i] as number) / field.halfDiagonalPx,
    ),
    labels: data.labels.map(({ frames }) => {
      const shapes = frames.map(({ searched, common }) => fitShapes(searched, common));
      const mean = (value: (shape: FitShapes, f: number, k: number) => number): Float64Array =>
        Float64Array.from(
          { length: data.common },
          (_, k) => shapes.reduce((sum, shape, f) => sum + value(shape, f, k), 0) / shapes.length,
        );
      return {
        frames: shapes,
        fwhm: mean(
          (shape, f, k) =>
            (shape.fwhmPx[k] as number) * (frames[f] as LabelData['frames'][number]).unitPerPx,
        ),
        squared: mean((shape, _, k) => shape.squared[k] as number),
        ellipticity: mean((shape, _, k) => shape.ellipticity[k] as number),
      };
    }),
  };
}

/** The columns behind pictures of paired stars. */
export function pairedStars(data: CompareData, shapes: CommonShapes): PairedStars {
  const { labels } = data;
  const [first] = labels as [LabelData, ...LabelData[]];
  const { searched, common } = first.frames[0];
  const flux = searched.found.sources.fits[searched.found.reference]?.flux;
  const brightest = Math.max(...common.map((i) => flux?.[i] ?? Number.NaN));
  const byLabel = (column: (label: LabelData, l: number) => ArrayLike<number>) =>
    Object.fromEntries(labels.map((label, l) => [label.label, Array.from(column(label, l))]));
  const place = (axis: 'x' | 'y') =>
    byLabel(({ frames: [reference] }) =>
      reference.common.map((i) => reference.searched.found.sources[axis][i] as number),
    );
  return {
    distance: Array.from(shapes.distance),
    magnitude: common.map((i) => -2.5 * Math.log10((flux?.[i] ?? Number.NaN) / brightest)),
    x: place('x'),
    y: place('y'),
    fwhm: byLabel((_, l) => shapes.labels[l]?.fwhm ?? []),
    ellipticity: byLabel((_, l) => shapes.labels[l]?.ellipticity ?? []),
  };
}
