/** Public surface of the library. Everything else is internal and may change. */
export type {
  ColumnInfo,
  StarCatalogue,
} from './catalogue/catalogue.js';
export { flagNames, STAR_FLAGS, type StarFlagName } from './catalogue/flags.js';
export {
  FrameReadError,
  ParameterError,
  ToolError,
  UnsupportedFormatError,
  UsageError,
} from './errors.js';
export type {
  CfaDecision,
  CfaPattern,
  Frame,
  FrameMetadata,
  FrameOverrides,
  Layout,
  RowSource,
  SampleArray,
  SampleType,
} from './frame/frame.js';
export { openFrame } from './frame/open.js';
export { type Match, type MatchOptions, matchStars, type NoMatch } from './match/match.js';
export type { StarList } from './match/star-list.js';
export {
  applyInverse,
  applyTransform,
  describeTransform,
  fitTransform,
  type Transform,
  type TransformDescription,
} from './match/transform.js';
export {
  type CombinedChannel,
  type CombinedContrast,
  type CombinedResult,
  type CombinedValue,
  combineFrames,
} from './measure/combine.js';
export { type Measurement, measureFrame } from './measure/measure.js';
export { DEFAULT_MEASURE_OPTIONS, type MeasureOptions } from './measure/options.js';
export type {
  ChannelName,
  ChannelResult,
  FrameResult,
  HaloContrast,
  HaloLevel,
  HaloResult,
  Uncertain,
} from './measure/result.js';
export type { FilterKind, ResponseTable } from './optics/colour-bands.js';
export type { ExpectedHalo, ExpectedRange, HaloConditions } from './optics/expected-halo.js';
export type { Glass } from './optics/glass.js';
export type { GlassPair, LensChoice, LensGeometry, LensKind } from './optics/lens-expectation.js';
export { type LensOutlook, lensOutlooks } from './optics/lens-outlook.js';
export { starsCsv } from './report/csv.js';
export { starsEcsv } from './report/ecsv.js';
export { jsonText, type MeasureDocument, measureDocument } from './report/json.js';
export { PLAIN_STYLE, type TextStyle } from './report/layout.js';
export type { NamedCatalogue } from './report/star-table.js';
export { reportText } from './report/table.js';
export type { Warning } from './warnings.js';
