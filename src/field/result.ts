/** The published record of the field: plain data, names as in docs/output-format.md. Not measured is null. */
import type { Uncertain } from '../measure/result.js';
import type { CorrectedCircle } from './corrected-circle.js';
import type { IlluminationResult } from './illumination.js';

export type CauseName =
  | 'defocus'
  | 'tilt'
  | 'curvature'
  | 'miscollimation'
  | 'tracking'
  | 'lateral colour'
  | 'dispersion'
  | 'vignetting';

export interface Cause {
  cause: CauseName;
  /** In `unit`. */
  strength: Uncertain;
  unit: 'µm' | 'px' | 'nm' | '%';
  /** 0–1: how far this data supports this cause against the alternatives named. */
  confidence: number;
  /** Growth of the stars it stands for, px of FWHM (or of length, or of shift). */
  effectPx: number;
  /** Direction from +x towards +y in the frame, degrees; an axis (0–180) where only an axis is known. Null = no direction. */
  directionDeg: Uncertain | null;
  /** Sentences for a beginner. */
  evidence: string[];
  /** What else could explain it that this data cannot exclude. */
  alternatives: string[];
  nextCheck: string;
  /** Beside any advice that may lead to a screw; null where none does. */
  caution: string | null;
}

/** A third-moment vector, or any other, px. */
export interface FieldCell {
  /** Mean place of its stars, 0-based px. */
  x: number;
  y: number;
  /** Borders of the cell, px; the top is where y is large, as in the pictures. */
  left: number;
  top: number;
  right: number;
  bottom: number;
  stars: number;
  fwhmPx: Uncertain;
  redFwhmPx: Uncertain | null;
  blueFwhmPx: Uncertain | null;
  e1: number;
  e2: number;
  /** 1 σ of either component. */
  ellipticityError: number;
  /** Skew: where the outer light lies beside the core, px, and its 1 σ. */
  skewX: number;
  skewY: number;
  skewError: number;
  /** Mean image of its brightest stars, peak 1, row-major, `side` × `side` px; null where none could be stacked. */
  stamp: { side: number; pixels: number[] } | null;
}

/** Star size of the model over the frame, pixel and sharp stars' width included. */
export interface ModelSurface {
  /** Points along x and y, from border to border. */
  across: number;
  down: number;
  /** FWHM, px, row by row from small y. */
  fwhmPx: number[];
  /** 1 σ, root mean square over the points, px. */
  errorPx: number;
}

/** The model's numbers, physical where focal ratio and pixel size are known, else null. Signs of focus terms belong together: all of
 * them may be turned round. */
export interface FieldModelResult {
  stars: number;
  sharpFwhmPx: Uncertain;
  defocusUm: Uncertain | null;
  tiltUm: Uncertain | null;
  tiltDeg: Uncertain | null;
  /** Axis along which focus changes, 0–180. */
  tiltDirectionDeg: Uncertain;
  curvatureUm: Uncertain | null;
  curvatureRadiusMm: Uncertain | null;
  astigmatismUm: Uncertain | null;
  /** True when astigmatism has the sign of curvature, null while either is not seen. */
  astigmatismWithCurvature: boolean | null;
  comaAtCornerNm: Uncertain | null;
  comaConstantNm: Uncertain | null;
  /** Where coma vanishes, px; null when it does so nowhere near. */
  comaCentrePx: [number, number] | null;
  /** The same in px, always known: geometric root-mean-square radii, and elongation (a − b)/(a + b). */
  tiltPx: Uncertain;
  curvaturePx: Uncertain;
  astigmatismPx: Uncertain;
  comaAtCornerPx: Uncertain;
  comaConstantPx: Uncertain;
  uniformEllipticity: Uncertain;
  uniformAngleDeg: number;
  /** FWHM of the model, px; the top is where y is large. Corners: small x and y; large x; small x, large y; both large. */
  places: {
    centre: number;
    corners: [number, number, number, number];
    left: number;
    right: number;
    top: number;
    bottom: number;
  };
  /** Null where no cause leads, or where the sizes hardly differ beside their error. */
  surface: ModelSurface | null;
}

export interface FieldSet {
  stars: number;
  frames: number;
  causes: Cause[];
  leading: CauseName | 'none' | 'cannot tell';
  /** The causes it lies between when `leading` is "cannot tell" for that reason; else empty. */
  between: CauseName[];
  /** One sentence. */
  summary: string;
  model: FieldModelResult | null;
  colourShift: {
    blueMinusRedConstantPx: [number, number];
    constantErrorPx: number;
    blueMinusRedAtCornerPx: Uncertain;
  } | null;
  cells: FieldCell[];
  starsLeftOut: Record<string, number>;
  /** Null = not sought. */
  correctedCircle: CorrectedCircle | null;
  illumination: IlluminationResult | null;
}

export interface RotationResult {
  angleDeg: number;
  followsCamera: RotationFinding[];
  followsTube: RotationFinding[];
  undecided: RotationFinding[];
  advice: string;
}

export interface RotationFinding {
  quantity: 'tilt' | 'coma' | 'elongation' | 'centre of curvature';
  cause: CauseName;
  /** How much worse the other explanation fits, as a number of σ. */
  significance: number;
  sentence: string;
}

export interface FieldResult {
  sets: FieldSet[];
  rotation?: RotationResult;
  warnings: { code: string; message: string; file?: string }[];
}
