/** Expected against simulated and measured halos: `npm run bench:expect [-- --seed S]`. About two minutes.
 *
 * Frames of the simulator, which shares no code with the optics model: invented lenses, seeing of 2 and 4″, no guiding error. Columns: the
 * true halo of the mean star image; the expectation with the response of the simulated camera; that with usual filters, which know
 * nothing of it, with the range; and what measureFrame finds, with the expectation for the radius within which it counted light.
 */

import { measureFrame } from '../src/measure/measure.js';
import { DEFAULT_MEASURE_OPTIONS } from '../src/measure/options.js';
import type { FilterKind, ResponseTable } from '../src/optics/colour-bands.js';
import { type ExpectedHalo, haloModel } from '../src/optics/expected-halo.js';
import { type LensKind, lensGeometry } from '../src/optics/lens-expectation.js';
import { BAND_LIMITS_NM, type Band, bandResponse } from '../src/simulate/bands.js';
import { parseScene, type SceneInput } from '../src/simulate/scene.js';
import { simulate } from '../src/simulate/simulate.js';
import { memoryFrame } from '../tests/helpers/memory-frame.js';
import { environment, environmentLine } from './helpers/environment.js';
import { fixed, tableText } from './helpers/text-table.js';

const LENSES: readonly [LensKind, apertureMm: number, focalRatio: number][] = [
  ['achromat', 80, 5],
  ['achromat', 80, 10],
  ['ed', 80, 6],
  ['apochromat', 80, 6],
];
const COLOURS = {
  achromat: { kind: 'achromat' },
  ed: { kind: 'scaled', factor: 0.1 },
  apochromat: { kind: 'scaled', factor: 0.03 },
} as const satisfies Record<LensKind, NonNullable<SceneInput['telescope']>['colour']>;
const PIXEL_UM = 3.76;
const KEYS = ['blueMinusRed', 'blueMinusGreen', 'redMinusGreen'] as const;

/** The response of the simulated camera as a person would give it. */
function simulatedResponse(): ResponseTable {
  const [from, to] = BAND_LIMITS_NM;
  const wavelengthNm = Array.from({ length: (to - from) / 10 + 1 }, (_, i) => from + 10 * i);
  const of = (band: Band): number[] => wavelengthNm.map((nm) => bandResponse(band, nm));
  return { wavelengthNm, R: of('R'), G: of('G'), B: of('B') };
}

function rowOf(
  lens: LensKind,
  apertureMm: number,
  focalRatio: number,
  seeingArcsec: number,
  seed: number,
): string[][] {
  const scene = parseScene({
    name: 'bench-expect',
    seed,
    exposureSeconds: 60,
    sky: { seed, extentArcmin: [24, 18], starsPerSquareArcmin: 1.1 },
    atmosphere: { seeingArcsec },
    guiding: { jitterArcsec: 0 },
    telescope: { apertureMm, focalLengthMm: apertureMm * focalRatio, colour: COLOURS[lens] },
    camera: { widthPx: 600, heightPx: 450, pixelUm: PIXEL_UM, hotPixels: 0, cosmicRays: 0 },
    rendering: { temperatureClasses: 3 },
  });
  const { frame, truth } = simulate(scene);
  const { result } = measureFrame(
    memoryFrame({
      width: frame.width,
      height: frame.height,
      data: frame.data,
      layout: 'cfa',
      metadata: { pixelSizeUm: PIXEL_UM, focalLengthMm: apertureMm * focalRatio, apertureMm },
    }),
    DEFAULT_MEASURE_OPTIONS,
  );
  const expected = (filters: FilterKind | ResponseTable, rMaxPx: number | null): ExpectedHalo =>
    haloModel(lensGeometry({ apertureMm, focalRatio }), {
      pixelSizeUm: PIXEL_UM,
      seeingArcsec,
      filters,
      rMaxArcsec: rMaxPx === null ? null : rMaxPx * truth.scaleArcsecPerPx,
    }).halo(lens);
  const own = expected(simulatedResponse(), null);
  const usual = expected('mosaic', null);
  const measuredWithin = result.halo?.blueMinusRed.normalisedWithinPx ?? null;
  const within = expected(simulatedResponse(), measuredWithin);
  const name = `${lens} ${apertureMm} mm f/${focalRatio}, ${seeingArcsec}″`;
  return KEYS.map((key, i) => {
    const range = usual[key].excessPercent;
    const measured = result.halo?.[key].excessPercent;
    const half = measured ? (measured.high - measured.low) / 2 : Number.NaN;
    return [
      i === 0 ? name : '',
      ['blue − red', 'blue − green', 'red − green'][i] as string,
      fixed(truth.halo?.[`${key}Percent`] ?? Number.NaN, 1),
      fixed(own[key].excessPercent.value, 1),
      `${fixed(range.value, 1)} (${fixed(range.low, 1)} to ${fixed(range.high, 1)})`,
      measured ? `${fixed(measured.value, 1)} ± ${fixed(half, 1)}` : '–',
      fixed(within[key].excessPercent.value, 1),
      measuredWithin === null ? '–' : fixed(measuredWithin, 1),
    ];
  });
}

const args = process.argv.slice(2);
const at = args.indexOf('--seed');
const seed = at >= 0 ? Number(args[at + 1]) : 1;
const rows = LENSES.flatMap(([lens, apertureMm, focalRatio]) =>
  [2, 4].flatMap((seeing) => rowOf(lens, apertureMm, focalRatio, seeing, seed)),
);
console.log(`${environmentLine(environment())}, seed ${seed}\n`);
console.log(
  tableText({
    title: 'Halo, per cent',
    columns: [
      'lens, seeing',
      'colours',
      'true',
      'expected, own camera',
      'expected, usual filters',
      'measured',
      'expected, same radius',
      'radius, px',
    ],
    rows,
  }),
);
