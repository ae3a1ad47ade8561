/** Frames that live in memory: a row source over a typed array, so that estimators are tested without files. */
import type {
  CfaPattern,
  Frame,
  FrameMetadata,
  Layout,
  RowSource,
  SampleArray,
  SampleType,
} from '../../src/frame/frame.js';

export interface MemoryFrameOptions {
  width: number;
  height: number;
  /** Plane after plane, row-major. */
  data: SampleArray;
  layout: Layout;
  /** Default RGGB; used by mosaics only. */
  cfa?: CfaPattern;
  metadata?: Partial<FrameMetadata>;
  scale?: number;
  zero?: number;
  blank?: number | null;
  probablyProcessed?: boolean;
  saturationGiven?: boolean;
  path?: string;
}

const SILENT: FrameMetadata = {
  exposureSeconds: null,
  gainElectronsPerAdu: null,
  isoSpeed: null,
  pixelSizeUm: null,
  binning: null,
  focalLengthMm: null,
  apertureMm: null,
  filter: null,
  object: null,
  telescope: null,
  instrument: null,
  dateObs: null,
  airmass: null,
  sensorTemperatureC: null,
  focusPosition: null,
  ambientTemperatureC: null,
  imageType: null,
  pierSide: null,
  saturationAdu: null,
  pedestalAdu: null,
};

function sampleTypeOf(data: SampleArray): SampleType {
  if (data instanceof Uint8Array) return 'u8';
  if (data instanceof Int8Array) return 'i8';
  if (data instanceof Uint16Array) return 'u16';
  if (data instanceof Int16Array) return 'i16';
  if (data instanceof Uint32Array) return 'u32';
  if (data instanceof Int32Array) return 'i32';
  return data instanceof Float32Array ? 'f32' : 'f64';
}

/** Largest value of the integer types; floats have none. */
const TYPE_MAXIMUM: Partial<Record<SampleType, number>> = {
  u8: 2 ** 8 - 1,
  i8: 2 ** 7 - 1,
  u16: 2 ** 16 - 1,
  i16: 2 ** 15 - 1,
  u32: 2 ** 32 - 1,
  i32: 2 ** 31 - 1,
};

/** A frame over `data`; metadata that is not given is unknown. */
export function memoryFrame(options: MemoryFrameOptions): Frame {
  const { width, height, data, layout, scale = 1, zero = 0, blank = null } = options;
  const planes = layout === 'rgb' ? 3 : 1;
  if (data.length !== width * height * planes) {
    throw new RangeError(`data has ${data.length} samples, expected ${width * height * planes}`);
  }
  const sampleType = sampleTypeOf(data);
  const rows: RowSource = {
    width,
    height,
    planes,
    sampleType,
    scale,
    zero,
    blank,
    readRows(plane, y0, count, out, at = 0) {
      if (plane < 0 || plane >= planes || y0 < 0 || count < 0 || y0 + count > height) {
        throw new RangeError(`rows ${y0} to ${y0 + count - 1} of plane ${plane} do not exist`);
      }
      if (out.constructor !== data.constructor || at + count * width > out.length) {
        throw new RangeError('the buffer is of the wrong type or too short');
      }
      const from = (plane * height + y0) * width;
      (out as Float32Array).set(data.subarray(from, from + count * width) as Float32Array, at);
    },
    close() {},
  };
  const maximum = TYPE_MAXIMUM[sampleType];
  return {
    path: options.path ?? 'memory.fits',
    format: 'fits',
    probablyProcessed: options.probablyProcessed ?? false,
    rows,
    layout,
    cfa:
      layout === 'cfa'
        ? { pattern: options.cfa ?? 'RGGB', source: 'header', redBlueKnown: true }
        : null,
    metadata: { ...SILENT, ...options.metadata },
    typeMaximumAdu: maximum === undefined ? null : zero + scale * maximum,
    saturationGiven: options.saturationGiven ?? false,
    warnings: [],
  };
}
