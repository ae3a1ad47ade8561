/** The chart of lenses: how visible the blue defocus of each telescope is, beside what lenses of its size are expected to show.
 *
 * The quantity is the equivalent blue defocus over half the depth of focus (2 λN² at green). Micrometres do not say how visible a colour
 * is: the same 100 µm are nothing at f/15 and a wide rim at f/5. In depths of focus, 1 is a quarter of a wave at every focal ratio,
 * the blur disc in Airy radii is always 1.64 times the number, and a kind of lens follows D/N, so that the classical rules
 * for achromats (focal ratio over aperture in inches) are level lines.
 */
import type { Uncertain } from '../measure/result.js';
import {
  achromatDepthsAtRatio,
  CLASSICAL_LIMITS,
  depthsOfFocusFor,
  equivalentDefocusFraction,
  inDepthsOfFocus,
  type LensKind,
} from '../optics/lens-expectation.js';

/** A lens to be marked: measured with its interval, or merely expected. */
export interface ChartedLens {
  label: string;
  apertureMm: number;
  focalRatio: number;
  /** Equivalent blue defocus over half the depth of focus. */
  depthsOfFocus: Uncertain;
  /** False: computed, without an interval (low = high = value). */
  measured: boolean;
}

export interface ExpectationCurve {
  lens: LensKind;
  apertureMm: number;
  focalRatio: number[];
  depthsOfFocus: number[];
}

export interface LensChart {
  lenses: ChartedLens[];
  /** Kind by kind, apertures rising. */
  curves: ExpectationCurve[];
  /** Level lines of the classical rules for achromats. */
  limits: { name: string; ratio: number; depthsOfFocus: number }[];
  /** From the first to the last point of every curve. */
  focalRatioRange: [number, number];
  /** Telescopes that cannot be placed. */
  missing: { label: string; reason: string }[];
}

/** What a telescope must bring; `ComparedTelescope` does. */
export interface ChartInput {
  label: string;
  apertureMm: number | null;
  focalLengthMm: number | null;
  blueDefocusUm: Uncertain | null;
}

const KINDS: readonly LensKind[] = ['achromat', 'ed', 'apochromat'];
/** Focal ratios shown at least. */
const USUAL_RATIOS: readonly [number, number] = [4, 12];
const ROOM = 1.25;
const CURVE_POINTS = 25;
/** Apertures closer than this share one curve. */
const SAME_APERTURE = 1.03;

function place(input: ChartInput): ChartedLens | string {
  const { label, apertureMm, focalLengthMm, blueDefocusUm } = input;
  if (apertureMm === null || focalLengthMm === null) return 'aperture or focal length unknown';
  if (blueDefocusUm === null) return 'no blue defocus measured';
  const focalRatio = focalLengthMm / apertureMm;
  const multiple = (um: number): number => inDepthsOfFocus(um, focalRatio);
  return {
    label,
    apertureMm,
    focalRatio,
    depthsOfFocus: {
      value: multiple(blueDefocusUm.value),
      low: multiple(blueDefocusUm.low),
      high: multiple(blueDefocusUm.high),
    },
    measured: true,
  };
}

/** Apertures with those that are nearly alike left out, rising. */
function distinct(apertures: readonly number[]): number[] {
  const out: number[] = [];
  for (const aperture of [...apertures].sort((a, b) => a - b)) {
    const last = out.at(-1);
    if (last === undefined || aperture > last * SAME_APERTURE) out.push(aperture);
  }
  return out;
}

/**
 * Chart of measured telescopes, with curves for their apertures. Telescopes that cannot be placed are named with the reason; when
 * none can, the result is null.
 * @param expected further lenses that are only computed, drawn as such
 * @param apertures of the curves, mm; those of the lenses when left out
 */
export function lensChart(
  telescopes: readonly ChartInput[],
  expected: readonly ChartedLens[] = [],
  apertures?: readonly number[],
): LensChart | null {
  const lenses: ChartedLens[] = [];
  const missing: LensChart['missing'] = [];
  for (const telescope of telescopes) {
    const placed = place(telescope);
    if (typeof placed === 'string') missing.push({ label: telescope.label, reason: placed });
    else lenses.push(placed);
  }
  lenses.push(...expected);
  if (lenses.length === 0) return null;
  const ratios = lenses.map((lens) => lens.focalRatio);
  const from = Math.min(USUAL_RATIOS[0], Math.min(...ratios) / ROOM);
  const to = Math.max(USUAL_RATIOS[1], Math.max(...ratios) * ROOM);
  const focalRatio = Array.from(
    { length: CURVE_POINTS },
    (_, i) => from * (to / from) ** (i / (CURVE_POINTS - 1)),
  );
  const shown = distinct(apertures ?? lenses.map((lens) => lens.apertureMm));
  const curves = KINDS.flatMap((lens) => {
    const fraction = equivalentDefocusFraction(lens, 'B');
    return shown.map(
      (apertureMm): ExpectationCurve => ({
        lens,
        apertureMm,
        focalRatio,
        depthsOfFocus: focalRatio.map((ratio) => depthsOfFocusFor(fraction, apertureMm, ratio)),
      }),
    );
  });
  const limits = CLASSICAL_LIMITS.map(({ name, ratio }) => ({
    name,
    ratio,
    depthsOfFocus: achromatDepthsAtRatio(ratio),
  }));
  return { lenses, curves, limits, focalRatioRange: [from, to], missing };
}
