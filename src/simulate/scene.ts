/** The description of a simulated exposure: plain JSON, checked and completed with defaults. */
import { z } from 'zod';
import { ParameterError } from '../errors.js';

const positive = z.number().positive();
const nonNegative = z.number().nonnegative();
const vector = z.tuple([z.number(), z.number()]);
/** One value per colour channel. */
const perChannel = z.object({ R: nonNegative, G: nonNegative, B: nonNegative });

const starSchema = z.strictObject({
  /** Offset from the aiming point, arcsec, before the camera's rotation. */
  xArcsec: z.number(),
  yArcsec: z.number(),
  magnitude: z.number(),
  temperatureK: z.number().min(2000).max(50000),
});

const skySchema = z.strictObject({
  /** Seed of everything that belongs to the sky; two telescopes with the same seed see the same stars. */
  seed: z.int().min(0).max(0xffffffff).default(1),
  /** Width and height of the patch that is filled with stars; make it larger than the frame. */
  extentArcmin: z.tuple([positive, positive]).default([60, 45]),
  starsPerSquareArcmin: nonNegative.default(1),
  brightestMagnitude: z.number().default(7),
  faintestMagnitude: z.number().default(15),
  /** d log10 N / d magnitude of the cumulative counts. */
  countSlope: z.number().positive().max(0.6).default(0.3),
  /** Temperatures are log-normal about the median, clipped to the limits. */
  medianTemperatureK: z.number().min(2500).max(20000).default(5600),
  temperatureScatterDex: nonNegative.max(0.4).default(0.1),
  temperatureLimitsK: z.tuple([z.number().min(2000), z.number().max(50000)]).default([3000, 15000]),
  /** Stars closer than this to a brighter one are left out; 0 keeps all. */
  minimumSeparationArcsec: nonNegative.default(0),
  /** Fixed stars, added to the drawn ones. */
  stars: z.array(starSchema).default([]),
  /** Surface brightness, mag per square arcsec in the green band, and its colour against a white sky. */
  backgroundMagnitude: z.number().nullable().default(20.5),
  backgroundColour: perChannel.default({ R: 0.9, G: 1, B: 1.1 }),
  /** Relative change of the background from edge to edge along x and y. */
  backgroundGradient: vector.default([0, 0]),
  nebulae: z
    .array(
      z.strictObject({
        xArcsec: z.number(),
        yArcsec: z.number(),
        /** Standard deviations of the Gaussian cloud and its angle from +x, degrees. */
        sigmaArcsec: z.tuple([positive, positive]),
        angleDeg: z.number().default(0),
        /** Peak brightness as a multiple of the background in each channel. */
        peak: perChannel,
      }),
    )
    .default([]),
  galaxies: z
    .array(
      z.strictObject({
        xArcsec: z.number(),
        yArcsec: z.number(),
        magnitude: z.number(),
        temperatureK: z.number().min(2000).default(4800),
        /** Scale length of the exponential disk, axis ratio and angle from +x. */
        scaleArcsec: positive,
        axisRatio: z.number().gt(0).max(1).default(0.6),
        angleDeg: z.number().default(0),
      }),
    )
    .default([]),
});

const atmosphereSchema = z.strictObject({
  /** FWHM of the long-exposure seeing at 500 nm, before the telescope; grows as λ^(−1/5). */
  seeingArcsec: nonNegative.default(2.2),
  zenithDistanceDeg: z.number().min(0).max(80).default(0),
  /** Direction of the zenith in the frame, degrees from +x towards +y. */
  zenithDirectionDeg: z.number().default(90),
  /** Air density relative to 15 °C at sea level. */
  relativeAirDensity: nonNegative.default(0.95),
  /** False leaves out dispersion even away from the zenith. */
  dispersion: z.boolean().default(true),
});

const telescopeSchema = z.strictObject({
  name: z.string().max(60).default('invented refractor'),
  apertureMm: positive.default(80),
  focalLengthMm: positive.default(400),
  transmission: z.number().gt(0).max(1).default(0.9),
  colour: z
    .discriminatedUnion('kind', [
      z.strictObject({ kind: z.literal('achromat') }),
      z.strictObject({ kind: z.literal('scaled'), factor: z.number() }),
      z.strictObject({ kind: z.literal('none') }),
    ])
    .default({ kind: 'achromat' }),
  /** Distance of the detector from the sharpest green focus, µm. */
  defocusUm: z.number().default(0),
  /** Zernike coefficients in nm root mean square. */
  sphericalNm: z.number().default(0),
  /** Extra spherical at 450 nm against 550 nm, following 1/λ². */
  spherochromatismNm: z.number().default(0),
  /** Coma at the frame's corner, growing linearly with the distance from the centre. */
  comaAtCornerNm: z.number().default(0),
  /** Coma equal over the whole field (a decentred element), along x and y. */
  decentreComaNm: vector.default([0, 0]),
  /** Half the distance of tangential and sagittal focus at the corner, growing with the square of the distance. */
  astigmatismAtCornerUm: z.number().default(0),
  /** Astigmatism equal over the whole field: half distance of the two foci and direction. */
  constantAstigmatismUm: z.number().default(0),
  constantAstigmatismAngleDeg: z.number().default(0),
  /** Focus shift at the corner by field curvature, growing with the square of the distance from the optical axis. */
  fieldCurvatureAtCornerUm: z.number().default(0),
  /** Where the optical axis meets the sensor, px from the frame's centre. */
  axisOffsetPx: vector.default([0, 0]),
  /** Tilt of the sensor about its y and x axes, degrees: focus changes by tan(tilt) × distance along x and y. */
  sensorTiltDeg: vector.default([0, 0]),
  /** Separation of 450 nm and 630 nm light at the corner, µm; positive = blue farther out. */
  lateralColourAtCornerUm: z.number().default(0),
  /** Light at the corner relative to the centre; falls with the square of the distance. */
  cornerIllumination: z.number().gt(0).max(1).default(1),
});

const cameraSchema = z.strictObject({
  name: z.string().max(60).default('invented colour camera'),
  widthPx: z.int().min(16).max(20000).default(1400),
  heightPx: z.int().min(16).max(20000).default(1000),
  pixelUm: positive.default(3.76),
  layout: z.enum(['cfa', 'rgb', 'mono']).default('cfa'),
  /** Order of the filters in the stored rows. */
  cfa: z.enum(['RGGB', 'BGGR', 'GRBG', 'GBRG']).default('RGGB'),
  rotationDeg: z.number().default(0),
  /** Aiming error: where the sky's centre falls, px from the frame's centre. */
  pointingPx: vector.default([0, 0]),
  gainElectronsPerAdu: positive.default(0.8),
  readNoiseElectrons: nonNegative.default(1.5),
  pedestalAdu: nonNegative.default(500),
  fullWellElectrons: positive.default(60000),
  /** Bits of the converter: values clip at 2^bits − 1. */
  bits: z.int().min(8).max(16).default(16),
  darkElectronsPerSecond: nonNegative.default(0.002),
  hotPixels: z.int().nonnegative().default(60),
  cosmicRays: z.int().nonnegative().default(6),
  /** False writes expected values as 32-bit floats: no photon or read noise, no rounding, no clipping. */
  noise: z.boolean().default(true),
});

const guidingSchema = z.strictObject({
  /** Standard deviation of the guiding error along each axis. */
  jitterArcsec: nonNegative.default(0.3),
  /** Straight drift over the exposure. */
  driftArcsec: vector.default([0, 0]),
});

const renderingSchema = z.strictObject({
  /** Half-width of the star images, px; chosen from the blur when null. */
  radiusPx: positive.nullable().default(null),
  /** Width of the spectral slices, nm. */
  sliceNm: z.number().min(4).max(40).default(10),
  /** Largest change of the blur's diameter between neighbouring wavelengths, px. */
  blurStepPx: z.number().min(0.2).max(20).default(2.5),
  /** Star images are computed at this many points of the field along x and y where the optics vary over it. */
  fieldNodes: z.tuple([z.int().min(2).max(15), z.int().min(2).max(15)]).default([5, 5]),
  /** Number of star temperatures for which images are computed; a star takes the nearest. */
  temperatureClasses: z.int().min(1).max(12).default(5),
});

const sceneSchema = z.strictObject({
  name: z.string().max(60),
  description: z.string().max(400).default(''),
  /** Seed of the noise and defects of this exposure. */
  seed: z.int().min(0).max(0xffffffff).default(1),
  exposureSeconds: positive.default(60),
  dateObs: z.string().max(30).default('2026-01-01T22:00:00'),
  sky: skySchema.prefault({}),
  atmosphere: atmosphereSchema.prefault({}),
  telescope: telescopeSchema.prefault({}),
  camera: cameraSchema.prefault({}),
  guiding: guidingSchema.prefault({}),
  rendering: renderingSchema.prefault({}),
});

/** A complete scene. */
export type Scene = z.infer<typeof sceneSchema>;
/** A scene as written by hand: everything with a default may be left out. */
export type SceneInput = z.input<typeof sceneSchema>;

/**
 * Checks a scene and fills in the defaults.
 * @throws ParameterError naming the first entry that is missing, unknown or out of range.
 */
export function parseScene(input: unknown): Scene {
  const result = sceneSchema.safeParse(input);
  if (result.success) return result.data;
  const issue = result.error.issues[0];
  const path = issue.path.join('.') || 'scene';
  throw new ParameterError(`scene ${path}`, issue.code, issue.message);
}
