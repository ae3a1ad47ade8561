/** The fitted numbers as a published record: px always, physical units where focal ratio and pixel size are known. */
import type { Uncertain } from '../measure/result.js';
import { direction, withSystematics } from './cause-strengths.js';
import { namedPlaces, recordedFwhmAt } from './effects.js';
import { ASTIG, COMA, CX, CY, KAPPA, T0, TX, TY, U1, U2, Z0 } from './laws.js';
import { drawnSigma, type FieldFit, type FieldOptics } from './model.js';
import { modelSurface } from './model-surface.js';
import { comaNm, defocusUm, fwhmOfSize } from './response.js';
import type { FieldModelResult } from './result.js';

const SEEN = 20;

/** @param decided whether a cause leads: else there is no surface to draw */
export function describeModel(
  fit: FieldFit,
  { focalRatio, pixelSizeUm }: FieldOptics,
  width: number,
  height: number,
  decided: boolean,
): FieldModelResult {
  const { p } = fit;
  const half = 0.5 * Math.sqrt(width * width + height * height);
  const known = focalRatio !== null && pixelSizeUm !== null;
  const um = known ? defocusUm(1, focalRatio, pixelSizeUm) : null;
  const nm = known ? comaNm(1, focalRatio, pixelSizeUm) : null;
  const of = (value: (p: Float64Array) => number, factor: number | null = 1): Uncertain | null =>
    factor === null
      ? null
      : withSystematics(
          factor * value(p),
          factor * drawnSigma(fit, value),
          fit.response.systematic,
        );
  const sure = (value: (p: Float64Array) => number): Uncertain => of(value, 1) as Uncertain;
  const size = (a: number, b: number) => (q: Float64Array) =>
    Math.sqrt((q[a] as number) ** 2 + (q[b] as number) ** 2);
  const single = (j: number) => (q: Float64Array) => q[j] as number;
  const tilt = size(TX, TY);
  const curvatureUm = of((q) => Math.abs(q[KAPPA] as number), um);
  const halfMm = pixelSizeUm === null ? null : (half * pixelSizeUm) / 1000;
  const radius = (value: number): number => ((halfMm as number) ** 2 * 1000) / (2 * value);
  const degrees = (value: Uncertain): Uncertain => {
    const angle = (v: number): number =>
      (Math.atan(v / (1000 * (halfMm as number))) * 180) / Math.PI;
    return { value: angle(value.value), low: angle(value.low), high: angle(value.high) };
  };
  const oneWay = of(tilt, um);
  const c1 = p[COMA] as number;
  const centre: [number, number] = [
    (width - 1) / 2 - ((p[CX] as number) / c1) * half,
    (height - 1) / 2 - ((p[CY] as number) / c1) * half,
  ];
  const near = Math.hypot(p[CX] as number, p[CY] as number) < 2 * Math.abs(c1);
  const elongation = (q: Float64Array): number => {
    const t = q[T0] as number;
    const u = Math.min(0.95 * t, size(U1, U2)(q));
    return (Math.sqrt(t + u) - Math.sqrt(t - u)) / (Math.sqrt(t + u) + Math.sqrt(t - u));
  };
  const places = recordedFwhmAt(p, fit.response, namedPlaces(width, height));
  const seen = fit.without.curvature.rise > SEEN;
  const curved = Math.abs(p[KAPPA] as number) > 2 * drawnSigma(fit, single(KAPPA));
  const astigmatic = Math.abs(p[ASTIG] as number) > 2 * drawnSigma(fit, single(ASTIG));
  const angle = (Math.atan2(p[U2] as number, p[U1] as number) * 90) / Math.PI;
  return {
    stars: fit.stars,
    sharpFwhmPx: sure((q) => fwhmOfSize((q[T0] as number) + fit.response.recordedOffset)),
    defocusUm: of(single(Z0), um),
    tiltUm: of(tilt, um === null ? null : 2 * um),
    tiltDeg: oneWay && halfMm !== null ? degrees(oneWay) : null,
    tiltDirectionDeg: direction(fit, TX, TY, 180),
    curvatureUm,
    curvatureRadiusMm:
      curvatureUm && halfMm !== null && curvatureUm.low > 0
        ? {
            value: radius(curvatureUm.value),
            low: radius(curvatureUm.high),
            high: radius(curvatureUm.low),
          }
        : null,
    astigmatismUm: of((q) => Math.abs(q[ASTIG] as number), um),
    astigmatismWithCurvature:
      seen && curved && astigmatic ? (p[ASTIG] as number) * (p[KAPPA] as number) > 0 : null,
    comaAtCornerNm: of(single(COMA), nm),
    comaConstantNm: of(size(CX, CY), nm),
    comaCentrePx: fit.without.coma.rise > SEEN && near ? centre : null,
    tiltPx: sure((q) => 2 * tilt(q)),
    curvaturePx: sure((q) => Math.abs(q[KAPPA] as number)),
    astigmatismPx: sure((q) => Math.abs(q[ASTIG] as number)),
    comaAtCornerPx: sure(single(COMA)),
    comaConstantPx: sure(size(CX, CY)),
    uniformEllipticity: sure(elongation),
    uniformAngleDeg: (angle + 180) % 180,
    places: {
      centre: places[0] as number,
      corners: [places[1], places[2], places[3], places[4]] as [number, number, number, number],
      left: places[5] as number,
      right: places[6] as number,
      top: places[8] as number,
      bottom: places[7] as number,
    },
    surface: modelSurface(fit, width, height, decided),
  };
}
