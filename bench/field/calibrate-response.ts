/** How the star fit of the field map answers to defocus and coma: a table made by wave optics.
 *
 * `npm run --silent calibrate:field > src/field/response-table.ts` (then format). Monochromatic star images at 540 nm
 * through long-exposure seeing of 2.5 px, six focal ratios, recorded on 4 µm pixels and fitted as `fitStarShapes` fits them.
 * The simulator makes the images; nothing of it enters the library but these numbers.
 */
import { createSkewScratch, fitSkewStar, SG1, SK1, SLNALPHA } from '../../src/field/skew-fit.js';
import { createSampleList } from '../../src/measure/samples.js';
import { PsfMaker } from '../../src/simulate/psf.js';
import type { Wavefront } from '../../src/simulate/pupil.js';

const PIXEL_UM = 4;
const SEEING_PX = 2.5;
const WAVELENGTH_NM = 540;
const FOCAL_RATIOS = [2, 3.5, 5, 7.5, 10, 14];
const SHARES = [0.02, 0.1, 0.25, 0.5, 1, 2, 4];
const PER_PIXEL = 4;
const SIZE = 256;
const FLAT: Wavefront = {
  defocusUm: 0,
  astigmatismUm: 0,
  astigmatismAngle: 0,
  sphericalNm: 0,
  comaXNm: 0,
  comaYNm: 0,
};
const PHASES = [
  [0, 0],
  [1, 2],
  [3, 1],
  [2, 3],
] as const;

/** [T, Q, K] of the star image, mean over sub-pixel places. */
function respond(
  maker: PsfMaker,
  wavefront: Partial<Wavefront>,
  driftPx = 0,
): [number, number, number] {
  const [image] = maker.make(
    [
      {
        middleNm: WAVELENGTH_NM,
        widthNm: 10,
        nodes: [{ wavelengthNm: WAVELENGTH_NM, weight: 1 }],
      },
    ],
    {
      wavefront: () => ({ ...FLAT, ...wavefront }),
      displacementPx: () => [0, 0],
      seeingFwhmPx: () => SEEING_PX,
      jitterPx: 0,
      driftPx: [driftPx, 0],
      pixelIncluded: true,
    },
    [{ cellWeights: [1], offsetPx: [0, 0] }],
  );
  let radius = 9;
  const mean: [number, number, number] = [0, 0, 0];
  for (let round = 0; round < 2; round++) {
    let widest = 0;
    for (const [phaseX, phaseY] of PHASES) {
      const capacity = (2 * radius + 1) ** 2;
      const samples = createSampleList(capacity);
      let peak = 0;
      for (let y = -radius; y <= radius; y++)
        for (let x = -radius; x <= radius; x++) {
          if (x * x + y * y > radius * radius) continue;
          const at = (SIZE / 2 + PER_PIXEL * y + phaseY) * SIZE + SIZE / 2 + PER_PIXEL * x + phaseX;
          const value = image[at] * PER_PIXEL ** 2 * 1e5;
          peak = Math.max(peak, value);
          samples.dx[samples.n] = x;
          samples.dy[samples.n] = y;
          samples.value[samples.n] = value;
          samples.n++;
        }
      const p = Float64Array.of(0, 0, 1e5, 0, Math.log(3.2), 0, 0, 0, 0);
      fitSkewStar(
        samples,
        p,
        {
          skyVariance: Float64Array.of(100),
          noisePerSignal: 1,
          modelSigma: 0.02 * peak,
          integrateWithinPx: 30,
          skew: true,
        },
        createSkewScratch(capacity),
        new Float64Array(9),
      );
      const size = Math.exp(2 * p[SLNALPHA]) / 2;
      widest = Math.max(widest, Math.exp(p[SLNALPHA]));
      if (round === 1) {
        mean[0] += size / PHASES.length;
        mean[1] += (size * p[SG1]) / PHASES.length;
        mean[2] += p[SK1] / PHASES.length;
      }
    }
    radius = Math.min(28, Math.ceil(2 * widest + 2));
  }
  return mean;
}

const diffraction: number[] = [];
const drift: number[] = [];
const rows: Record<'defocus' | 'comaSize' | 'comaElongation' | 'skew', number[][]> = {
  defocus: [],
  comaSize: [],
  comaElongation: [],
  skew: [],
};
for (const focalRatio of FOCAL_RATIOS) {
  const maker = new PsfMaker({ size: SIZE, perPixel: PER_PIXEL, pixelUm: PIXEL_UM }, focalRatio);
  const [sharp] = respond(maker, {});
  const unit = ((WAVELENGTH_NM / 1000) * focalRatio) / PIXEL_UM;
  diffraction.push((unit * unit) / sharp);
  // A straight drift of 1.2 px: its mean square is 1.2²/12.
  drift.push(respond(maker, {}, 1.2)[1] / (1.2 ** 2 / 12));
  const defocus: number[] = [];
  const comaSize: number[] = [];
  const comaElongation: number[] = [];
  const skew: number[] = [];
  for (const share of SHARES) {
    const added = share * sharp;
    const defocusUm = Math.sqrt(8 * added) * focalRatio * PIXEL_UM;
    defocus.push((respond(maker, { defocusUm })[0] - sharp) / added);
    // Geometric optics: √8 (3ρ³ − 2ρ) cos θ of coma c spreads rays to a mean square radius of 48 (2 N c)².
    const comaXNm = ((Math.sqrt(added / 48) * PIXEL_UM) / (2 * focalRatio)) * 1000;
    const [size, elongation, k] = respond(maker, { comaXNm });
    comaSize.push((size - sharp) / added);
    comaElongation.push(elongation / (0.5 * added));
    skew.push(k / Math.sqrt(added));
  }
  rows.defocus.push(defocus);
  rows.comaSize.push(comaSize);
  rows.comaElongation.push(comaElongation);
  rows.skew.push(skew);
}
const list = (values: readonly number[]): string =>
  `[${values.map((v) => Math.round(1000 * v)).join(', ')}]`;
const table = (key: keyof typeof rows, name: string, comment: string): string =>
  `/** ${comment} */\nexport const ${name} = [\n${rows[key].map((row) => `  ${list(row)},`).join('\n')}\n] as const;\n`;
process.stdout.write(`/** Answers of the star fit to defocus and coma, by wave optics, in thousandths: written by bench/field/calibrate-response.ts. */

/** Rows: (λN / pixel)² / T0, the share of diffraction in the star's size. */
export const DIFFRACTION_SHARE = ${list(diffraction)} as const;
/** Elongation Q over the mean square of a short straight drift, by row. */
export const DRIFT_ELONGATION = ${list(drift)} as const;
/** Columns: geometric mean square radius of the aberration / T0. */
export const ABERRATION_SHARE = ${list(SHARES)} as const;
${table('defocus', 'DEFOCUS_GROWTH', 'Growth of T over the geometric growth by defocus.')}
${table('comaSize', 'COMA_GROWTH', 'Growth of T over the geometric growth by coma.')}
${table('comaElongation', 'COMA_ELONGATION', 'Elongation Q over the geometric one by coma.')}
${table('skew', 'COMA_SKEW', 'Skew K over the geometric root-mean-square radius by coma.')}`);
