/** Everything that can be said about the colour of a lens before it is bought or tested, what would help, and the same in a sentence. */
import {
  type ExpectedHalo,
  type HaloConditions,
  type HaloModel,
  haloModel,
} from './expected-halo.js';
import {
  CLASSICAL_LIMITS,
  type ExpectedBand,
  type ExpectedColour,
  type LensChoice,
  type LensExpectation,
  type LensGeometry,
  lensExpectation,
  lensGeometry,
} from './lens-expectation.js';

const MM_PER_INCH = 25.4;
/** Smaller stops are no use at a telescope, and beyond what is computed. */
const SMALLEST_STOP_MM = 10;
const LARGEST_RATIO = 60;
/** Filters that take the violet, nm: usual edges; common practice, no source. */
const CUTS_NM = [430, 450] as const;

export interface OutlookBand extends ExpectedBand {
  /** Null while the pixel is unknown. */
  blurPx: number | null;
}

/** A smaller aperture at the same focal length. */
export interface StopDown {
  /** What it reaches: a classical rule, or blue within the depth of focus. */
  reaches: (typeof CLASSICAL_LIMITS)[number]['name'] | 'depth of focus';
  apertureMm: number;
  focalRatio: number;
  lightLeftPercent: number;
  blueMinusRedPercent: number;
  /** Diameter of the blue disc then. */
  blueBlurArcsec: number;
}

/** A filter that takes all light below a wavelength. */
export interface CutFilter {
  cutBelowNm: number;
  /** Of the blue channel's light. */
  blueLostPercent: number;
  blueMinusRedPercent: number;
}

export interface LensOutlook extends LensExpectation {
  secondarySpectrum: OutlookBand[];
  halo: ExpectedHalo;
  /** Empty where nothing is needed or nothing sensible reaches it. */
  stopDown: StopDown[];
  filters: CutFilter[];
  sentence: string;
}

function stopsFor(
  expectation: LensExpectation,
  lens: LensChoice,
  conditions: HaloConditions,
): StopDown[] {
  const { apertureMm, focalLengthMm, achromatRatio, apertureSpeedRatio, blueDefocus } = expectation;
  // Both the ratio and the depths of focus go with the square of the aperture at one focal length.
  const blueBlurArcsec =
    expectation.secondarySpectrum.find(({ band }) => band === 'B')?.blurArcsec ?? 0;
  const wanted: [StopDown['reaches'], number][] = [
    ...CLASSICAL_LIMITS.map(({ name, ratio }): [StopDown['reaches'], number] => [
      name,
      Math.sqrt((focalLengthMm * MM_PER_INCH * (achromatRatio / apertureSpeedRatio)) / ratio),
    ]),
    ['depth of focus', apertureMm / Math.sqrt(blueDefocus.depthsOfFocus)],
  ];
  return wanted.flatMap(([reaches, stopMm]) => {
    const focalRatio = focalLengthMm / stopMm;
    if (!(stopMm < apertureMm) || stopMm < SMALLEST_STOP_MM || focalRatio > LARGEST_RATIO)
      return [];
    const stopped = { apertureMm: stopMm, focalLengthMm, focalRatio };
    return [
      {
        reaches,
        apertureMm: stopMm,
        focalRatio,
        lightLeftPercent: 100 * (stopMm / apertureMm) ** 2,
        blueMinusRedPercent: haloModel(stopped, conditions).blueMinusRedPercent(lens),
        blueBlurArcsec: blueBlurArcsec * (stopMm / apertureMm),
      },
    ];
  });
}

function outlookOf(
  geometry: LensGeometry,
  lens: LensChoice,
  conditions: HaloConditions,
  model: HaloModel,
): LensOutlook {
  const expectation = lensExpectation(geometry, lens);
  const halo = model.halo(lens);
  const { pixelSizeUm } = conditions;
  const secondarySpectrum = expectation.secondarySpectrum.map((band) => ({
    ...band,
    blurPx: pixelSizeUm === null ? null : band.blurUm / pixelSizeUm,
  }));
  const filters =
    halo.level === 'none'
      ? []
      : CUTS_NM.map((cutBelowNm) => ({ cutBelowNm, ...model.filtered(lens, cutBelowNm) }));
  return {
    ...expectation,
    secondarySpectrum,
    halo,
    stopDown: stopsFor(expectation, lens, conditions),
    filters,
    sentence: outlookSentence(expectation, halo),
  };
}

/**
 * The outlook of several lenses of one aperture and focal length. Half a second each.
 * @param given any two of aperture, focal length and focal ratio
 * @throws ParameterError as `lensGeometry`; RangeError where the data of a glass do not reach 380–720 nm
 */
export function lensOutlooks(
  given: Partial<LensGeometry>,
  lenses: readonly LensChoice[],
  conditions: HaloConditions,
): LensOutlook[] {
  const geometry = lensGeometry(given);
  const model = haloModel(geometry, conditions);
  return lenses.map((lens) => outlookOf(geometry, lens, conditions, model));
}

const LENS_WORDS: Readonly<Record<string, string>> = {
  achromat: 'A classical achromat',
  ed: 'A usual ED doublet',
  apochromat: 'A usual apochromat',
};

/** At the eyepiece, at high power. */
const EYEPIECE: Readonly<Record<ExpectedColour, string>> = {
  'hard to see': 'shows hardly any false colour at the eyepiece',
  slight: 'shows slight false colour round the brightest objects at the eyepiece',
  plain: 'shows plain false colour round bright objects at the eyepiece',
  strong: 'shows strong false colour at the eyepiece',
};

const PICTURE: Readonly<Record<ExpectedHalo['level'], string>> = {
  none: 'no blue rim that could be told from that of a perfect lens',
  trace: 'a trace of a blue rim, in numbers more than to the eye',
  plain: 'a plain blue rim round bright stars',
  strong: 'a strong blue rim round every bright star',
  dominant: 'a blue halo that is the first thing one sees',
};

/** From here on, points over the perfect lens, a rim of the other colour is named. */
const SEEN_POINTS = 2;
/** Red this far beyond green, in points, makes a blue rim purple. */
const PURPLE_POINTS = 5;

/** One or two plain sentences for a beginner. */
function outlookSentence(expectation: LensExpectation, halo: ExpectedHalo): string {
  const { apertureMm, focalRatio, lens, expectedColour } = expectation;
  const name = LENS_WORDS[lens] ?? `A doublet of ${lens}`;
  const over = halo.blueMinusRed.overPerfectLensPercent;
  const red = over.value <= -SEEN_POINTS;
  const [inner, outer] = red ? ['blue', 'red'] : ['red', 'blue'];
  const [value, low, high] = red
    ? [-over.value, -over.high, -over.low]
    : [over.value, over.low, over.high];
  const range =
    whole(low) === whole(high)
      ? ''
      : `, anything from ${whole(low)} to ${whole(high)} being possible`;
  const purple =
    !red &&
    halo.level !== 'none' &&
    halo.redMinusGreen.overPerfectLensPercent.value >= PURPLE_POINTS
      ? ' Red spreads beyond green as well, so that the rim is violet to purple.'
      : '';
  const picture = red ? 'a red rim rather than a blue one' : PICTURE[halo.level];
  return (
    `${name} of ${round3(apertureMm)} mm and f/${round3(focalRatio)} ${EYEPIECE[expectedColour]}, and on pictures ${picture}: ` +
    `${whole(value)} per cent more of the ${outer} light than of the ${inner} falls outside the green star than with a perfect lens${range}.${purple}`
  );
}

function whole(percent: number): string {
  return String(Math.round(percent)).replace('-', '−').replace(/^−0$/, '0');
}

function round3(value: number): string {
  return String(Number(value.toPrecision(3)));
}
