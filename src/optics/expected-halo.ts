/** The halo that a lens must show on a picture: the numbers that `measure` reads off stars, computed from the lens alone.
 *
 * Blue minus red is the difference of the light inside r80 of green, all light counted within R_max (docs/algorithms.md), for images
 * through air, aperture, the lens's focus curve and the pixel (lens-image.ts). Not in it: guiding, focusing errors, other aberrations.
 */
import {
  BAND_VARIATIONS,
  type BandLight,
  bandLight,
  type FilterKind,
  type ResponseTable,
} from './colour-bands.js';
import { levelOfExcess, type SeenHalo } from './halo-levels.js';
import { focusShiftFraction, type LensChoice, type LensGeometry } from './lens-expectation.js';
import {
  enclosedInBand,
  type LensImage,
  lensImage,
  radiusOfShare,
  shareWithin,
} from './lens-image.js';
import { DEFAULT_BANDS_NM } from './perfect-lens.js';

const ARCSEC_PER_RADIAN = 648000 / Math.PI;
/** Where seeing is not given: FWHM at 500 nm of most nights at most places; common practice, no source. */
const USUAL_SEEING_ARCSEC = { value: 3, low: 2, high: 4 } as const;
/** ED doublets and apochromats of one name differ in colour error by this factor either way; common practice, no source. */
const DESIGN_FACTOR = 2;

/** A value with the range that what is not known leaves open; not a 68 % interval. */
export interface ExpectedRange {
  value: number;
  low: number;
  high: number;
}

export interface HaloConditions {
  pixelSizeUm: number | null;
  /** FWHM of the air at 500 nm; null = not known. */
  seeingArcsec: number | null;
  filters: FilterKind | ResponseTable;
  /** Null = 8 × the FWHM of green. */
  rMaxArcsec: number | null;
}

export interface ExpectedContrast {
  excessPercent: ExpectedRange;
  /** The same lens without colour error. */
  perfectLensPercent: number;
  overPerfectLensPercent: ExpectedRange;
}

export interface ExpectedHalo {
  seeingArcsec: ExpectedRange;
  seeingAssumed: boolean;
  pixelIncluded: boolean;
  filters: FilterKind | 'table';
  greenFwhmArcsec: number;
  /** r80 of green. */
  atRadiusArcsec: number;
  /** R_max. */
  normalisedWithinArcsec: number;
  greenFwhmPx: number | null;
  atRadiusPx: number | null;
  normalisedWithinPx: number | null;
  /** Best green focus less the focus of 535 nm, µm; positive = farther from the lens. */
  bestFocusUm: number;
  blueMinusRed: ExpectedContrast;
  blueMinusGreen: ExpectedContrast;
  redMinusGreen: ExpectedContrast;
  /** Words for blue minus red over the perfect lens: of the value, and of the ends of its range. */
  level: SeenHalo | 'none';
  levelRange: [SeenHalo | 'none', SeenHalo | 'none'];
  /** Blue light outside the green image, whatever red does. */
  blueOutsidePercent: number;
  /** What the range stands for. */
  rangeFrom: string[];
}

/** Blue − red, blue − green, red − green at r80 of green, per cent. */
interface Reading {
  atRadiusArcsec: number;
  contrasts: [number, number, number];
  blueOutside: number;
}

function readImage(image: LensImage, light: BandLight): Reading {
  const curve = {
    R: enclosedInBand(image, light, 'R'),
    G: enclosedInBand(image, light, 'G'),
    B: enclosedInBand(image, light, 'B'),
  };
  const atRadiusArcsec = radiusOfShare(image, curve.G, 0.8);
  const [r, g, b] = [curve.R, curve.G, curve.B].map(
    (each) => 100 * shareWithin(image, each, atRadiusArcsec),
  ) as [number, number, number];
  return { atRadiusArcsec, contrasts: [r - b, g - b, g - r], blueOutside: 100 - b };
}

/** Excess of the lens, and over the perfect one. */
interface Trial {
  excess: readonly number[];
  over: readonly number[];
}

/** Independent doubts add in quadrature, each side for itself. */
function rangeOf(value: number, pairs: readonly (readonly number[])[]): ExpectedRange {
  let up = 0;
  let down = 0;
  for (const pair of pairs) {
    up += Math.max(0, ...pair.map((each) => each - value)) ** 2;
    down += Math.min(0, ...pair.map((each) => each - value)) ** 2;
  }
  return { value, low: value - Math.sqrt(down), high: value + Math.sqrt(up) };
}

/** One aperture, camera and sky, ready to be asked about lenses; perfect images are shared among them. */
export interface HaloModel {
  /** The halo with its range. Some tenths of a second. */
  halo(lens: LensChoice): ExpectedHalo;
  /** Blue minus red alone, per cent, with a filter that takes all light below a wavelength; with the share of blue light it costs. */
  filtered(
    lens: LensChoice,
    cutBelowNm: number,
  ): { blueMinusRedPercent: number; blueLostPercent: number };
  /** Blue minus red alone, per cent. */
  blueMinusRedPercent(lens: LensChoice): number;
}

export function haloModel(geometry: LensGeometry, conditions: HaloConditions): HaloModel {
  const { apertureMm, focalLengthMm, focalRatio } = geometry;
  const { pixelSizeUm, filters } = conditions;
  const umToArcsec = ARCSEC_PER_RADIAN / (focalLengthMm * 1000);
  const pixelArcsec = pixelSizeUm === null ? null : pixelSizeUm * umToArcsec;
  const light = bandLight(filters);
  const assumed = conditions.seeingArcsec === null;
  const seeing = assumed
    ? USUAL_SEEING_ARCSEC
    : { value: conditions.seeingArcsec as number, low: Number.NaN, high: Number.NaN };
  const green = DEFAULT_BANDS_NM.G;

  /** @param scale of the colour error; 0 = the perfect lens */
  const imageOf = (lens: LensChoice, scale: number, seeingArcsec: number): LensImage => {
    const reference = focusShiftFraction(lens, green);
    const perUnit = scale * focalLengthMm * 1000;
    return lensImage({
      apertureMm,
      focalRatio,
      focusUm: (nm) => (scale === 0 ? 0 : perUnit * (focusShiftFraction(lens, nm) - reference)),
      light,
      seeingArcsec,
      pixelArcsec,
      rMaxArcsec: conditions.rMaxArcsec,
    });
  };
  const images = new Map<string, LensImage>();
  const kept = (lens: LensChoice, scale: number, seeingArcsec: number): LensImage => {
    const name = typeof lens === 'string' ? lens : JSON.stringify(lens);
    const key = scale === 0 ? `perfect ${seeingArcsec}` : `${name} ${scale} ${seeingArcsec}`;
    const image = images.get(key) ?? imageOf(lens, scale, seeingArcsec);
    images.set(key, image);
    return image;
  };
  const trial = (lens: LensChoice, scale: number, at: number, own: BandLight): Trial => {
    const excess = readImage(kept(lens, scale, at), own).contrasts;
    const perfect = readImage(kept(lens, 0, at), own).contrasts;
    return { excess, over: excess.map((each, i) => each - (perfect[i] as number)) };
  };

  const halo = (lens: LensChoice): ExpectedHalo => {
    const image = kept(lens, 1, seeing.value);
    const reading = readImage(image, light);
    const best = trial(lens, 1, seeing.value, light);
    const pairs: Trial[][] = [];
    const rangeFrom: string[] = [];
    if (lens === 'ed' || lens === 'apochromat') {
      pairs.push(
        [1 / DESIGN_FACTOR, DESIGN_FACTOR].map((scale) => trial(lens, scale, seeing.value, light)),
      );
      rangeFrom.push('designs of this name: half to twice the colour error');
    }
    if (assumed) {
      pairs.push([seeing.low, seeing.high].map((each) => trial(lens, 1, each, light)));
      rangeFrom.push(`seeing of ${seeing.low} to ${seeing.high} arcsec`);
    }
    const variations = BAND_VARIATIONS.map((pair) =>
      pair.map((shape) => trial(lens, 1, seeing.value, bandLight(filters, shape))),
    );
    pairs.push(...variations);
    rangeFrom.push(
      typeof filters === 'string' ? 'filters and stars as they usually differ' : 'colours of stars',
    );
    const contrast = (i: number): ExpectedContrast => {
      const range = (of: keyof Trial): ExpectedRange =>
        rangeOf(
          best[of][i] as number,
          pairs.map((pair) => pair.map((each) => each[of][i] as number)),
        );
      const excessPercent = range('excess');
      const over = range('over');
      return {
        excessPercent,
        perfectLensPercent: excessPercent.value - over.value,
        overPerfectLensPercent: over,
      };
    };
    const px = (arcsec: number): number | null =>
      pixelArcsec === null ? null : arcsec / pixelArcsec;
    const blueMinusRed = contrast(0);
    const { value, low, high } = blueMinusRed.overPerfectLensPercent;
    return {
      seeingArcsec: assumed
        ? { ...USUAL_SEEING_ARCSEC }
        : { value: seeing.value, low: seeing.value, high: seeing.value },
      seeingAssumed: assumed,
      pixelIncluded: pixelArcsec !== null,
      filters: typeof filters === 'string' ? filters : 'table',
      greenFwhmArcsec: image.greenFwhmArcsec,
      atRadiusArcsec: reading.atRadiusArcsec,
      normalisedWithinArcsec: image.rMaxArcsec,
      greenFwhmPx: px(image.greenFwhmArcsec),
      atRadiusPx: px(reading.atRadiusArcsec),
      normalisedWithinPx: px(image.rMaxArcsec),
      bestFocusUm: image.bestFocusUm,
      blueMinusRed,
      blueMinusGreen: contrast(1),
      redMinusGreen: contrast(2),
      level: levelOfExcess(value),
      levelRange: [levelOfExcess(low), levelOfExcess(high)],
      blueOutsidePercent: reading.blueOutside,
      rangeFrom,
    };
  };
  return {
    halo,
    filtered: (lens, cutBelowNm) => {
      const own = bandLight(filters, undefined, cutBelowNm);
      const { contrasts } = readImage(kept(lens, 1, seeing.value), own);
      return { blueMinusRedPercent: contrasts[0], blueLostPercent: 100 * own.blueLost };
    },
    blueMinusRedPercent: (lens) => readImage(kept(lens, 1, seeing.value), light).contrasts[0],
  };
}
