/** `npm run bench:sweep [runs]`: simulated through-focus runs against the truth of their lens.
 *
 * Truth of a colour's best focus: the light-weighted mean over the band of the lens's own focus curve (for a star of the median temperature),
 * which is where the geometric mean square blur is least. It is summed here from the simulation's bands and lens, without the estimator.
 */
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { encodeFits } from '../src/frame/fits/write.js';
import { sweepFiles } from '../src/pool/sweep-files.js';
import {
  BAND_LIMITS_NM,
  type Band,
  bandResponse,
  blackBodyPhotons,
} from '../src/simulate/bands.js';
import { type ColourCorrection, focalShiftUm } from '../src/simulate/lens.js';
import type { SceneInput } from '../src/simulate/scene.js';
import { simulate } from '../src/simulate/simulate.js';
import { createRandom, normal } from '../src/stats/random.js';
import { medianOf } from '../src/stats/robust.js';

const WIDTH = 600;
const HEIGHT = 400;
const PIXEL_UM = 3.76;
const STEP_UM = 4;
const TEMPERATURE_K = 5600;

/** Light-weighted mean focus of a band, µm. */
function bandFocusUm(band: Band, colour: ColourCorrection, focalLengthMm: number): number {
  let sum = 0;
  let light = 0;
  for (let nm = BAND_LIMITS_NM[0]; nm <= BAND_LIMITS_NM[1]; nm++) {
    const weight = bandResponse(band, nm) * blackBodyPhotons(nm, TEMPERATURE_K);
    sum += weight * focalShiftUm(colour, focalLengthMm, nm);
    light += weight;
  }
  return sum / light;
}

async function trial(seed: number) {
  const random = createRandom(1000 + seed);
  const pick = <T>(list: readonly T[]): T => list[Math.floor(random() * list.length)] as T;
  const colour: ColourCorrection = pick([
    { kind: 'achromat' },
    { kind: 'scaled', factor: 0.3 },
    { kind: 'scaled', factor: -0.3 },
    { kind: 'none' },
  ] as const);
  const focalLengthMm = pick([400, 480, 560]);
  const apertureMm = 80;
  const tilt: [number, number] = [1.2 * (random() - 0.5), 1.2 * (random() - 0.5)];
  const curvatureUm = 60 * (random() - 0.5);
  const count = 7 + Math.floor(9 * random());
  const folder = mkdtempSync(join(tmpdir(), 'sweep-'));
  try {
    const range = 330;
    const files = [];
    for (let i = 0; i < count; i++) {
      const z = Math.round((-range + (2 * range * i) / (count - 1)) / STEP_UM);
      const scene: SceneInput = {
        name: 'sweep',
        seed: 100 * seed + i,
        exposureSeconds: 20,
        dateObs: `2026-01-01T22:${String(10 + i).padStart(2, '0')}:00`,
        sky: {
          seed,
          extentArcmin: [30, 22],
          starsPerSquareArcmin: 0.35,
          brightestMagnitude: 8,
          faintestMagnitude: 11.5,
          minimumSeparationArcsec: 70,
        },
        atmosphere: { seeingArcsec: 2.5 * Math.exp(0.06 * normal(random)) },
        telescope: {
          apertureMm,
          focalLengthMm,
          colour,
          defocusUm: z * STEP_UM,
          sensorTiltDeg: tilt,
          fieldCurvatureAtCornerUm: curvatureUm,
        },
        camera: {
          widthPx: WIDTH,
          heightPx: HEIGHT,
          pixelUm: PIXEL_UM,
          layout: 'rgb',
          hotPixels: 0,
          cosmicRays: 0,
        },
        rendering: { fieldNodes: [3, 3], temperatureClasses: 2, sliceNm: 20, blurStepPx: 4 },
      };
      const file = join(folder, `f${i}.fits`);
      const { frame, cards } = simulate(scene);
      writeFileSync(file, encodeFits(frame, cards));
      files.push({ file, fault: null, position: z });
    }
    const overrides = { focalLengthMm, apertureMm, pixelSizeUm: PIXEL_UM };
    const { analysis, error } = await sweepFiles(
      { files, overrides, stepUm: STEP_UM, focalRatio: null, maxStars: 150, seed: 1 },
      () => {},
    );
    const focus = (band: Band) => bandFocusUm(band, colour, focalLengthMm);
    const cornerMm = ((Math.hypot(WIDTH, HEIGHT) / 2) * PIXEL_UM) / 1000;
    return {
      analysis,
      error,
      truth: {
        B: focus('B') - focus('G'),
        R: focus('R') - focus('G'),
        tilt:
          (Math.atan(Math.hypot(...tilt.map((t) => Math.tan((t * Math.PI) / 180)))) * 180) /
          Math.PI,
        radius: (1000 * cornerMm * cornerMm) / (2 * curvatureUm),
      },
    };
  } finally {
    rmSync(folder, { recursive: true });
  }
}

const runs = Number(process.argv[2] ?? 100);
const errors: Record<string, number[]> = { B: [], R: [], tilt: [], curvature: [] };
const covered: Record<string, number[]> = { B: [], R: [], tilt: [] };
let within = 0;
let judged = 0;
for (let seed = 1; seed <= runs; seed++) {
  const { analysis, truth, error } = await trial(seed);
  if (analysis === null) {
    console.log(seed, error?.message);
    continue;
  }
  const line: string[] = [`${seed}: ${analysis.stars} stars`];
  for (const [name, got, want] of [
    ['B', analysis.blueMinusGreen.um, truth.B],
    ['R', analysis.redMinusGreen.um, truth.R],
    ['tilt', analysis.tiltDeg, truth.tilt],
  ] as const) {
    if (got === null) {
      line.push(`${name} cannot tell`);
      continue;
    }
    line.push(
      `${name} ${got.value.toFixed(2)} ± ${((got.high - got.low) / 2).toFixed(2)} (${want.toFixed(2)})`,
    );
    (errors[name] as number[]).push(got.value - want);
    (covered[name] as number[]).push(want >= got.low && want <= got.high ? 1 : 0);
    if (name !== 'tilt') {
      judged++;
      if (Math.abs(got.value - want) <= Math.max(5, 0.05 * Math.abs(want))) within++;
    }
  }
  const radius = analysis.curvatureRadiusMm;
  line.push(`radius ${radius?.value.toFixed(1) ?? 'cannot tell'} (${truth.radius.toFixed(1)})`);
  if (radius !== null) (errors.curvature as number[]).push(truth.radius / radius.value - 1);
  console.log(line.join('; '));
}
console.log(`colour shifts within 5 % or 5 um: ${within} of ${judged}`);
for (const [name, list] of Object.entries(errors)) {
  const hits = covered[name];
  const share =
    hits === undefined
      ? ''
      : `, in the 68 % interval ${((100 * hits.reduce((a, b) => a + b, 0)) / hits.length).toFixed(0)} %`;
  console.log(
    `${name}: ${list.length} told, median error ${medianOf(list).toFixed(3)}, median size ${medianOf(list.map(Math.abs)).toFixed(3)}${share}`,
  );
}
