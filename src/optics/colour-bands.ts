/** What the colours of a camera see: assumed responses of usual filters, and the light of a usual star.
 *
 * The halo of a lens with colour error hangs on the feet of the bands: a few per cent of violet in the green band are as visible as its
 * own blur. The shapes here are common practice, without a source; `BandShape` varies them, so that a range can be given.
 */

export type ColourBand = 'R' | 'G' | 'B';

/** `mosaic`: dyed filters on the pixels of a colour camera; `separate`: steep-edged filters before a mono camera. */
export type FilterKind = 'mosaic' | 'separate';

/** Departures from the usual shape, and the colour of the stars. */
export interface BandShape {
  /** Multiplies the light that dyed filters let through everywhere. */
  leak: number;
  /** Multiplies the widths. */
  width: number;
  /** Moves the blue band, nm. */
  blueShiftNm: number;
  starTemperatureK: number;
}

/** Stars of about the Sun's colour: the middle of what fields hold. */
const USUAL: BandShape = { leak: 1, width: 1, blueShiftNm: 0, starTemperatureK: 5600 };

/**
 * How far usual filters and stars stray from that, one thing at a time and either way: half and twice the leak, a tenth of the width,
 * the blue band 10 nm, and fields of redder and of bluer stars. Common practice, no source.
 */
export const BAND_VARIATIONS: readonly (readonly [BandShape, BandShape])[] = [
  [
    { ...USUAL, leak: 0.5 },
    { ...USUAL, leak: 2 },
  ],
  [
    { ...USUAL, width: 0.9 },
    { ...USUAL, width: 1.1 },
  ],
  [
    { ...USUAL, blueShiftNm: -10 },
    { ...USUAL, blueShiftNm: 10 },
  ],
  [
    { ...USUAL, starTemperatureK: 4500 },
    { ...USUAL, starTemperatureK: 7500 },
  ],
];

/** Usual UV/IR-cut filter: full transmission between, nothing 10 nm beyond. nm. */
const CUT_NM = [405, 685] as const;
const CUT_EDGE_NM = 10;
/** Range in which there is any light. */
const BAND_LIMITS_NM: readonly [number, number] = [
  CUT_NM[0] - CUT_EDGE_NM,
  CUT_NM[1] + CUT_EDGE_NM,
];

/** Dyed filters: bells for blue and green, an edge for red, and light let through everywhere as a share of the peak. */
const DYES = {
  B: { centreNm: 452, fwhmNm: 95, leak: 0.035 },
  G: { centreNm: 535, fwhmNm: 105, leak: 0.08 },
  R: { edgeNm: 583, softNm: 8, fall: 0.45, leak: 0.03 },
} as const;

/** Steep-edged filters: first and last wavelength, nm. */
const SEPARATE_NM: Readonly<Record<ColourBand, readonly [number, number]>> = {
  B: [405, 505],
  G: [490, 580],
  R: [590, 685],
};

function cutFilter(nm: number): number {
  const inside = Math.min(nm - BAND_LIMITS_NM[0], BAND_LIMITS_NM[1] - nm) / CUT_EDGE_NM;
  return Math.max(0, Math.min(1, inside));
}

/** Relative response of a band of usual filters at `nm` (peak about 1, 0 outside 395–695 nm), electrons per photon. */
function colourResponse(
  kind: FilterKind,
  band: ColourBand,
  nm: number,
  shape: BandShape = USUAL,
): number {
  const cut = cutFilter(nm);
  const own = band === 'B' ? nm - shape.blueShiftNm : nm;
  return cut === 0
    ? 0
    : cut * (kind === 'separate' ? steep(band, own, shape) : dyed(band, own, shape));
}

function steep(band: ColourBand, nm: number, { width }: BandShape): number {
  const [from, to] = SEPARATE_NM[band];
  const half = ((to - from) / 2) * width;
  // Edges of 5 nm: steep, but the sum over wavelengths still knows where they are.
  return Math.max(0, Math.min(1, 0.5 + (half - Math.abs(nm - (from + to) / 2)) / 5));
}

function dyed(band: ColourBand, nm: number, { leak, width }: BandShape): number {
  if (band === 'R') {
    const { edgeNm, softNm, fall, leak: foot } = DYES.R;
    const edge = edgeNm - 50 * (width - 1);
    const rise = 1 / (1 + Math.exp((edge - nm) / softNm));
    const peak = rise * (1 - fall * Math.max(0, (nm - 600) / 90));
    return peak + leak * foot * (1 - peak);
  }
  const { centreNm, fwhmNm, leak: foot } = DYES[band];
  const peak = Math.exp(-4 * Math.LN2 * ((nm - centreNm) / (fwhmNm * width)) ** 2);
  return peak + leak * foot * (1 - peak);
}

/** Response of a camera as its maker or its owner gives it: relative, electrons per photon. */
export interface ResponseTable {
  /** Rising. */
  wavelengthNm: readonly number[];
  R: readonly number[];
  G: readonly number[];
  B: readonly number[];
}

/** Linear between the entries, 0 outside. */
function tabulated(table: ResponseTable, band: ColourBand, nm: number): number {
  const { wavelengthNm } = table;
  const last = wavelengthNm.length - 1;
  if (!(nm >= (wavelengthNm[0] as number) && nm <= (wavelengthNm[last] as number))) return 0;
  let i = 1;
  while (i < last && (wavelengthNm[i] as number) < nm) i++;
  const from = wavelengthNm[i - 1] as number;
  const t = (nm - from) / ((wavelengthNm[i] as number) - from);
  return (table[band][i - 1] as number) * (1 - t) + (table[band][i] as number) * t;
}

/** Second radiation constant hc/k, nm K (CODATA). */
const SECOND_RADIATION_NM_K = 1.438776877e7;

/** Photons per unit wavelength of a black body (Planck): ∝ λ⁻⁴/(exp(hc/λkT) − 1); only ratios count. */
function starPhotons(nm: number, temperatureK: number): number {
  return (550 / nm) ** 4 / Math.expm1(SECOND_RADIATION_NM_K / (nm * temperatureK));
}

/** Wavelengths of every sum over the bands, nm. Half the step changes no excess by more than 0.1 points. */
const STEP_NM = 5;
const [FIRST_NM, LAST_NM] = [380, 720];
export const WAVELENGTHS_NM: readonly number[] = Array.from(
  { length: (LAST_NM - FIRST_NM) / STEP_NM },
  (_, i) => FIRST_NM + (i + 0.5) * STEP_NM,
);

/** Light of the bands at `WAVELENGTHS_NM`: each band's shares add up to 1. */
export interface BandLight {
  R: Float64Array;
  G: Float64Array;
  B: Float64Array;
  /** Share of the blue band's light that the further filter has taken; 0 without one. */
  blueLost: number;
}

/**
 * @param filters usual filters, or a table of the camera's own (which `shape` does not change but for the stars)
 * @param cutBelowNm a further filter that takes all light below this wavelength (edge of 10 nm); 0 = none
 */
export function bandLight(
  filters: FilterKind | ResponseTable,
  shape: BandShape = USUAL,
  cutBelowNm = 0,
): BandLight {
  const passes = (nm: number): number => Math.max(0, Math.min(1, 0.5 + (nm - cutBelowNm) / 10));
  let blueLost = 0;
  const shares = (band: ColourBand): Float64Array => {
    const whole = Float64Array.from(WAVELENGTHS_NM, (nm) => {
      const response =
        typeof filters === 'string'
          ? colourResponse(filters, band, nm, shape)
          : tabulated(filters, band, nm);
      return response * starPhotons(nm, shape.starTemperatureK);
    });
    const left = whole.map((light, i) => light * passes(WAVELENGTHS_NM[i] as number));
    const total = sum(left);
    if (band === 'B') blueLost = 1 - total / sum(whole);
    return left.map((light) => light / total);
  };
  const bands = { R: shares('R'), G: shares('G'), B: shares('B') };
  return { ...bands, blueLost };
}

function sum(values: Float64Array): number {
  let total = 0;
  for (let i = 0; i < values.length; i++) total += values[i] as number;
  return total;
}
