/** From a scene to wavefronts, displacements and spectral slices: what the telescope does at a place in the field. */
import {
  BAND_LIMITS_NM,
  type Band,
  bandIntegral,
  bandResponse,
  blackBodyPhotons,
  meanWavelengthNm,
} from './bands.js';
import {
  atmosphericDispersionArcsec,
  focalShiftUm,
  lateralColourShape,
  sharpestFocusUm,
} from './lens.js';
import type { Blur, SpectralCell } from './psf.js';
import type { ImageGrid } from './pupil.js';
import type { Scene } from './scene.js';

/** Arcseconds per radian, over 1000 (µm per mm). */
const ARCSEC_PER_UM_MM = 206.264806;

/** Reference temperature for focusing and for weights inside a spectral slice, K. */
const REFERENCE_TEMPERATURE_K = 5600;

/** Slices that hold less than this share of every band are left out. */
const NEGLIGIBLE_SHARE = 2e-4;

/** Plate scale, arcsec per px. */
export function scaleArcsecPerPx(scene: Scene): number {
  return (ARCSEC_PER_UM_MM * scene.camera.pixelUm) / scene.telescope.focalLengthMm;
}

/** Channels of the scene's camera. */
export function sceneBands(scene: Scene): readonly Band[] {
  return scene.camera.layout === 'mono' ? ['L'] : ['R', 'G', 'B'];
}

/** The band that focus and positions refer to. */
export function referenceBand(scene: Scene): Band {
  return scene.camera.layout === 'mono' ? 'L' : 'G';
}

/** The same scene with a lens that has no colour error and no aberration: only air, guiding, diffraction, pixels remain. */
export function perfectTwin(scene: Scene): Scene {
  const { name, apertureMm, focalLengthMm, transmission, cornerIllumination } = scene.telescope;
  return {
    ...scene,
    telescope: {
      ...scene.telescope,
      name,
      apertureMm,
      focalLengthMm,
      transmission,
      cornerIllumination,
      colour: { kind: 'none' },
      defocusUm: 0,
      sphericalNm: 0,
      spherochromatismNm: 0,
      comaAtCornerNm: 0,
      decentreComaNm: [0, 0],
      astigmatismAtCornerUm: 0,
      constantAstigmatismUm: 0,
      fieldCurvatureAtCornerUm: 0,
      sensorTiltDeg: [0, 0],
      lateralColourAtCornerUm: 0,
    },
  };
}

/** True when star images differ over the field by more than a displacement. */
export function variesOverField(scene: Scene): boolean {
  const t = scene.telescope;
  return (
    t.comaAtCornerNm !== 0 ||
    t.astigmatismAtCornerUm !== 0 ||
    t.fieldCurvatureAtCornerUm !== 0 ||
    t.sensorTiltDeg[0] !== 0 ||
    t.sensorTiltDeg[1] !== 0 ||
    t.lateralColourAtCornerUm !== 0
  );
}

/** The optics of one scene, ready to be asked about wavelengths and places. */
export class OpticalTrain {
  readonly scene: Scene;
  readonly focalRatio: number;
  readonly scale: number;
  /** Detector position that is sharpest in the reference band, µm against the common F–C focus. */
  readonly bestFocusUm: number;

  constructor(scene: Scene) {
    this.scene = scene;
    this.focalRatio = scene.telescope.focalLengthMm / scene.telescope.apertureMm;
    this.scale = scaleArcsecPerPx(scene);
    this.bestFocusUm = this.findBestFocus();
  }

  /** Distance from the detector to the focus of `wavelengthNm` on the axis, µm; positive = focus behind the detector. */
  axialDefocusUm(wavelengthNm: number): number {
    const { colour, focalLengthMm, defocusUm } = this.scene.telescope;
    return focalShiftUm(colour, focalLengthMm, wavelengthNm) - this.bestFocusUm - defocusUm;
  }

  /** Displacement by lateral colour at an offset from the optical axis, px. */
  lateralColourPx(wavelengthNm: number, dxPx: number, dyPx: number): [number, number] {
    const { lateralColourAtCornerUm } = this.scene.telescope;
    const { pixelUm } = this.scene.camera;
    const factor =
      (lateralColourAtCornerUm / pixelUm / this.cornerPx()) * lateralColourShape(wavelengthNm);
    return [factor * dxPx, factor * dyPx];
  }

  /** Lateral colour of a whole band: the displacement at its mean wavelength, px. */
  bandLateralColourPx(band: Band, dxPx: number, dyPx: number): [number, number] {
    return this.lateralColourPx(meanWavelengthNm(band, REFERENCE_TEMPERATURE_K), dxPx, dyPx);
  }

  /** Distance from the frame's centre to its corner, px. */
  cornerPx(): number {
    const { widthPx, heightPx } = this.scene.camera;
    return Math.sqrt(widthPx * widthPx + heightPx * heightPx) / 2;
  }

  /** Share of the light that reaches an offset from the frame's centre. */
  illumination(dxPx: number, dyPx: number): number {
    const [ax, ay] = this.scene.telescope.axisOffsetPx;
    const corner = this.cornerPx();
    const square = ((dxPx - ax) ** 2 + (dyPx - ay) ** 2) / (corner * corner);
    return Math.max(0, 1 - (1 - this.scene.telescope.cornerIllumination) * square);
  }

  /** Everything that blurs a star at an offset (px) from the frame's centre. */
  blurAt(dxPx: number, dyPx: number): Blur {
    const { telescope: t, atmosphere, camera, guiding } = this.scene;
    const x = dxPx - t.axisOffsetPx[0];
    const y = dyPx - t.axisOffsetPx[1];
    const radius = Math.sqrt(x * x + y * y) / this.cornerPx();
    const azimuth = Math.atan2(y, x);
    const tilt = (angleDeg: number, distancePx: number) =>
      Math.tan((angleDeg * Math.PI) / 180) * distancePx * camera.pixelUm;
    const fieldFocus =
      t.fieldCurvatureAtCornerUm * radius * radius +
      tilt(t.sensorTiltDeg[0], dxPx) +
      tilt(t.sensorTiltDeg[1], dyPx);
    const fieldAstigmatism = t.astigmatismAtCornerUm * radius * radius;
    const constantAngle = (2 * t.constantAstigmatismAngleDeg * Math.PI) / 180;
    // Both astigmatisms are spin-2 vectors: they add by components of twice the angle.
    const plus =
      fieldAstigmatism * Math.cos(2 * azimuth) + t.constantAstigmatismUm * Math.cos(constantAngle);
    const cross =
      fieldAstigmatism * Math.sin(2 * azimuth) + t.constantAstigmatismUm * Math.sin(constantAngle);
    const comaX = t.comaAtCornerNm * radius * Math.cos(azimuth) + t.decentreComaNm[0];
    const comaY = t.comaAtCornerNm * radius * Math.sin(azimuth) + t.decentreComaNm[1];
    const towardsZenith = (atmosphere.zenithDirectionDeg * Math.PI) / 180;
    const scale = this.scale;
    return {
      wavefront: (nm) => ({
        defocusUm: this.axialDefocusUm(nm) + fieldFocus,
        astigmatismUm: Math.sqrt(plus * plus + cross * cross),
        astigmatismAngle: Math.atan2(cross, plus) / 2,
        sphericalNm: t.sphericalNm + t.spherochromatismNm * spherochromaticShape(nm),
        comaXNm: comaX,
        comaYNm: comaY,
      }),
      displacementPx: (nm) => {
        const [lateralX, lateralY] = this.lateralColourPx(nm, x, y);
        const refraction = atmosphere.dispersion
          ? atmosphericDispersionArcsec(
              nm,
              atmosphere.zenithDistanceDeg,
              atmosphere.relativeAirDensity,
            ) / scale
          : 0;
        return [
          lateralX + refraction * Math.cos(towardsZenith),
          lateralY + refraction * Math.sin(towardsZenith),
        ];
      },
      seeingFwhmPx: (nm) => (atmosphere.seeingArcsec / scale) * (nm / 500) ** -0.2,
      jitterPx: guiding.jitterArcsec / scale,
      driftPx: [guiding.driftArcsec[0] / scale, guiding.driftArcsec[1] / scale],
      pixelIncluded: true,
    };
  }

  /** Slices of the spectrum, each with as many wavelengths as its change of blur asks for. */
  spectralCells(): SpectralCell[] {
    const { sliceNm, blurStepPx } = this.scene.rendering;
    const bands = sceneBands(this.scene);
    const [start, end] = BAND_LIMITS_NM;
    const cells: SpectralCell[] = [];
    const count = Math.round((end - start) / sliceNm);
    const width = (end - start) / count;
    for (let i = 0; i < count; i++) {
      const low = start + i * width;
      if (!bands.some((band) => cellShare(band, low, low + width) > NEGLIGIBLE_SHARE)) continue;
      const change = Math.abs(this.axialDefocusUm(low) - this.axialDefocusUm(low + width));
      const blurChangePx = change / this.focalRatio / this.scene.camera.pixelUm;
      const nodes = Math.max(1, Math.ceil(blurChangePx / blurStepPx));
      cells.push(spectralCell(bands, low, width, nodes));
    }
    return cells;
  }

  /** The coarsest power-of-two grid that carries the diffraction of the shortest wavelength and holds the widest blur. */
  imageGrid(): ImageGrid {
    const { camera, rendering, atmosphere } = this.scene;
    const finest = (BAND_LIMITS_NM[0] / 1000) * this.focalRatio;
    let perPixel = 4;
    while (perPixel < (2 * camera.pixelUm) / finest) perPixel *= 2;
    let radius = rendering.radiusPx ?? 0;
    if (rendering.radiusPx === null) {
      const blur = this.blurAt(camera.widthPx / 2, camera.heightPx / 2);
      const centre = this.blurAt(0, 0);
      let widest = 0;
      for (let nm = 400; nm <= 690; nm += 10) {
        const w = blur.wavefront(nm);
        const corner = Math.abs(w.defocusUm) + w.astigmatismUm;
        widest = Math.max(widest, corner, Math.abs(centre.wavefront(nm).defocusUm));
      }
      const disc = widest / this.focalRatio / camera.pixelUm / 2;
      radius = Math.max(56, 1.3 * disc + 25 * (atmosphere.seeingArcsec / this.scale));
    }
    let size = 64;
    while (size < 2 * radius * perPixel) size *= 2;
    return { size: Math.min(size, 2048), perPixel, pixelUm: camera.pixelUm };
  }

  private findBestFocus(): number {
    const { telescope, atmosphere } = this.scene;
    const band = referenceBand(this.scene);
    const shifts: number[] = [];
    const weights: number[] = [];
    for (let nm = BAND_LIMITS_NM[0] + 1; nm < BAND_LIMITS_NM[1]; nm += 2) {
      shifts.push(focalShiftUm(telescope.colour, telescope.focalLengthMm, nm));
      weights.push(bandResponse(band, nm) * blackBodyPhotons(nm, REFERENCE_TEMPERATURE_K));
    }
    const seeingUm = ((atmosphere.seeingArcsec / this.scale) * this.scene.camera.pixelUm) / 2.355;
    const diffractionUm = 0.42 * 0.54 * this.focalRatio;
    const sigma = Math.sqrt(
      seeingUm ** 2 + diffractionUm ** 2 + this.scene.camera.pixelUm ** 2 / 12,
    );
    return sharpestFocusUm(shifts, weights, sigma, this.focalRatio);
  }
}

/** 1 at 450 nm and 0 at 550 nm, linear in 1/λ². */
function spherochromaticShape(nm: number): number {
  const term = (value: number) => (1000 / value) ** 2;
  return (term(nm) - term(550)) / (term(450) - term(550));
}

/** Share of a band's light (reference star) between two wavelengths. */
function cellShare(band: Band, low: number, high: number): number {
  return (
    cellLight(band, low, high, REFERENCE_TEMPERATURE_K) /
    bandIntegral(band, REFERENCE_TEMPERATURE_K)
  );
}

function cellLight(band: Band, low: number, high: number, temperatureK: number): number {
  const steps = 8;
  const step = (high - low) / steps;
  let sum = 0;
  for (let i = 0; i < steps; i++) {
    const nm = low + (i + 0.5) * step;
    sum += bandResponse(band, nm) * blackBodyPhotons(nm, temperatureK) * step;
  }
  return sum;
}

function spectralCell(
  bands: readonly Band[],
  low: number,
  width: number,
  count: number,
): SpectralCell {
  const nodes = [];
  for (let i = 0; i < count; i++) {
    const wavelengthNm = low + ((i + 0.5) * width) / count;
    let weight = 0;
    for (const band of bands) weight += bandResponse(band, wavelengthNm);
    nodes.push({ wavelengthNm, weight });
  }
  return { middleNm: low + width / 2, widthNm: width, nodes };
}

/** Shares of the slices in a band's light for a star of `temperatureK`; they add up to 1. */
export function cellWeights(
  cells: readonly SpectralCell[],
  band: Band,
  temperatureK: number,
): Float64Array {
  const weights = new Float64Array(cells.length);
  let total = 0;
  for (let i = 0; i < cells.length; i++) {
    const { middleNm, widthNm } = cells[i];
    weights[i] = cellLight(band, middleNm - widthNm / 2, middleNm + widthNm / 2, temperatureK);
    total += weights[i];
  }
  for (let i = 0; i < cells.length; i++) weights[i] /= total;
  return weights;
}
