/** Hand-made records for tests of reports and schema. The numbers are invented: nothing here was measured. */
import type {
  ChannelResult,
  FrameResult,
  HaloContrast,
  Uncertain,
} from '../../src/measure/result.js';

export const u = (value: number, error: number): Uncertain => ({
  value,
  low: value - error,
  high: value + error,
});

function channelFixture(fwhmPx: number, scale: number | null): ChannelResult {
  const arcsec = (value: Uncertain): Uncertain | null =>
    scale === null
      ? null
      : { value: value.value * scale, low: value.low * scale, high: value.high * scale };
  const sizes = {
    fwhm: u(fwhmPx, 0.031),
    hfd: u(fwhmPx * 1.12, 0.042),
    r50: u(fwhmPx * 0.56, 0.021),
    r80: u(fwhmPx * 0.95, 0.061),
    r90: u(fwhmPx * 1.4, 0.13),
  };
  return {
    backgroundAdu: u(2181.4, 1.7),
    noiseAdu: u(14.21, 0.09),
    fwhmPx: sizes.fwhm,
    hfdPx: sizes.hfd,
    r50Px: sizes.r50,
    r80Px: sizes.r80,
    r90Px: sizes.r90,
    fwhmArcsec: arcsec(sizes.fwhm),
    hfdArcsec: arcsec(sizes.hfd),
    r50Arcsec: arcsec(sizes.r50),
    r80Arcsec: arcsec(sizes.r80),
    r90Arcsec: arcsec(sizes.r90),
    medianFitFwhmPx: u(fwhmPx * 0.94, 0.02),
    fitBeta: 3.1,
    ellipticity: u(0.031, 0.004),
    elongationAngleDeg: 112.4,
    starsInProfile: 321,
    profile: {
      radiusPx: [0.25, 0.75, 1.25],
      brightness: [0.09, 0.07, 0.04],
      error: [0.001, 0.001, 0.002],
      encircledEnergy: [0.02, 0.15, 0.33],
    },
  };
}

function contrastFixture(excess: number, perfect: number): HaloContrast {
  return {
    excessPercent: u(excess, 0.62),
    atRadiusPx: 3.27,
    normalisedWithinPx: 26.4,
    perfectLensPercent: perfect,
    overPerfectLensPercent: u(excess - perfect, 0.62),
    reachPx: 9.1,
    reachArcsec: null,
    curve: { radiusPx: [1, 2, 3], excessPercent: [2, 8, 12], low: [1, 7, 11], high: [3, 9, 13] },
  };
}

/** A colour mosaic with a strong halo; `scale` in arcsec per px or null. */
export function colourFixture(file = 'field.fits', scale: number | null = 1.5): FrameResult {
  return {
    file,
    status: 'ok',
    width: 700,
    height: 700,
    layout: 'cfa',
    cfaPattern: 'RGGB',
    cfaSource: 'pixels',
    scaleArcsecPerPx: scale,
    metadata: {
      exposureSeconds: 120.4,
      gainElectronsPerAdu: null,
      isoSpeed: null,
      pixelSizeUm: 3.8,
      binning: 1,
      focalLengthMm: scale === null ? null : 522,
      apertureMm: 100,
      filter: null,
      object: 'invented field',
      telescope: null,
      instrument: null,
      dateObs: '2026-01-02T03:04:05',
      airmass: 1.2,
      sensorTemperatureC: null,
      focusPosition: null,
      ambientTemperatureC: null,
      imageType: null,
      pierSide: null,
      saturationAdu: null,
      pedestalAdu: null,
    },
    stars: {
      found: 496,
      used: 321,
      rejected: { blended: 84, faint: 60, edge: 31 },
      saturationAdu: 13583,
      saturationSource: 'frame',
      zone: 'all',
    },
    channels: {
      R: channelFixture(3.42, scale),
      G: channelFixture(3.1, scale),
      B: channelFixture(4.9, scale),
    },
    halo: {
      blueMinusRed: contrastFixture(16.4, -0.8),
      blueMinusGreen: contrastFixture(18.9, 0.6),
      redMinusGreen: contrastFixture(2.5, 1.4),
      level: 'strong',
      coreTintMag: u(0.312, 0.028),
      rimTintMag: u(-0.91, 0.11),
      starColour: {
        trendPercentPerMag: u(0.4, 0.9),
        referenceColourMag: 0.62,
        atReferencePercent: u(16.3, 0.64),
        stars: 260,
      },
      saturatedStars: {
        stars: 4,
        ringPx: [9, 26],
        blueOverExpected: u(1.1, 0.2),
        redOverExpected: u(0.97, 0.12),
      },
    },
    lateralColour: {
      blueConstantPx: [0.21, -0.08],
      redConstantPx: [-0.1, 0.02],
      bluePerPx: u(0.00082, 0.00011),
      redPerPx: u(-0.0004, 0.0001),
      atCornerPx: u(0.6, 0.07),
      atCornerArcsec: scale === null ? null : u(0.9, 0.1),
      atCornerUm: u(2.3, 0.27),
    },
    equivalentDefocus: {
      blueUm: u(61, 4.2),
      redUm: u(18, 6.1),
      blueFocalLengthFraction: u(0.000117, 0.000008),
      redFocalLengthFraction: u(0.0000345, 0.0000117),
      blueBlurPx: u(5.1, 0.3),
      redBlurPx: u(1.5, 0.5),
    },
    linearity: {
      verdict: 'linear',
      sizeTrendPercentPerDecade: u(0.42, 0.53),
      reasons: ['bright and faint stars have the same profile'],
    },
    sentence: 'Invented sentence: blue light spreads well beyond red.',
    warnings: [],
  };
}

export function monoFixture(file = 'mono.fits', filter: string | null = null): FrameResult {
  const { cfaPattern: _pattern, cfaSource: _source, ...colour } = colourFixture(file);
  return {
    ...colour,
    layout: 'mono',
    metadata: { ...(colour.metadata as NonNullable<typeof colour.metadata>), filter },
    channels: { L: channelFixture(3.2, 1.5) },
    halo: null,
    lateralColour: null,
    equivalentDefocus: null,
    sentence: 'Invented sentence: stars are small.',
  };
}

export function failedFixture(file = 'broken.fits'): FrameResult {
  return {
    file,
    status: 'failed',
    error: {
      code: 'truncated',
      message: `${file}: the data ends early`,
      remedy: 'copy it again',
    },
    width: null,
    height: null,
    layout: null,
    scaleArcsecPerPx: null,
    metadata: null,
    stars: null,
    channels: {},
    halo: null,
    lateralColour: null,
    equivalentDefocus: null,
    linearity: null,
    sentence: '',
    warnings: [],
  };
}
