/** Fast kernels of the detection against slow, plain twins written here. */
import { describe, expect, test } from 'vitest';
import { type BackgroundMesh, buildBackground } from '../../src/detect/background.js';
import { gaussianKernel } from '../../src/detect/detection-rows.js';
import { planChannels } from '../../src/detect/lattice.js';
import { createRowInterpolator, meshAt } from '../../src/detect/mesh-interpolation.js';
import { findPeaks } from '../../src/detect/peaks.js';
import { cutStamps, siteTable } from '../../src/detect/stamps.js';
import { createFloatReader } from '../../src/frame/convert.js';
import { createPlainKernels } from '../../src/simd/plain.js';
import { createRandom, normal } from '../../src/stats/random.js';
import { expectClose } from '../expect-close.js';
import { memoryFrame } from '../helpers/memory-frame.js';
import { plantedFrame, starGrid } from '../helpers/planted-frame.js';

function meshOf(options: {
  width: number;
  height: number;
  cellsX: number;
  cellsY: number;
  level: number[];
  noise: number[];
}): BackgroundMesh {
  const cells = options.cellsX * options.cellsY;
  const lattices = options.level.length / cells;
  const first = (values: number[]): Float64Array =>
    Float64Array.from({ length: lattices }, (_, l) => values[l * cells]);
  return {
    ...options,
    lattices,
    level: Float64Array.from(options.level),
    noise: Float64Array.from(options.noise),
    medianLevel: first(options.level),
    medianNoise: first(options.noise),
    medianLevelError: new Float64Array(lattices),
    medianNoiseError: new Float64Array(lattices),
    emptyShare: 0,
    minimum: 0,
    maximum: 65535,
  };
}

function randomMesh(seed: number): BackgroundMesh {
  const random = createRandom(seed);
  const cells = 7 * 5;
  const draw = (base: number) => Array.from({ length: 2 * cells }, () => base + 100 * random());
  return meshOf({
    width: 7 * 64,
    height: 5 * 64,
    cellsX: 7,
    cellsY: 5,
    level: draw(500),
    noise: draw(10),
  });
}

/** Catmull–Rom through (−1, a), (0, b), (1, c), (2, d) by Neville-like nested lines (Barry & Goldman 1988, SIGGRAPH 22, 199). */
function catmullRom(a: number, b: number, c: number, d: number, t: number): number {
  const line = (p: number, q: number, from: number, to: number) =>
    (p * (to - t)) / (to - from) + (q * (t - from)) / (to - from);
  const a1 = line(a, b, -1, 0);
  const a2 = line(b, c, 0, 1);
  const a3 = line(c, d, 1, 2);
  const b1 = line(a1, a2, -1, 1);
  const b2 = line(a2, a3, 0, 2);
  return line(b1, b2, 0, 1);
}

function slowMeshAt(mesh: BackgroundMesh, l: number, x: number, y: number): number {
  const clamp = (value: number, top: number) => Math.max(0, Math.min(top, value));
  const u = clamp(((x + 0.5) * mesh.cellsX) / mesh.width - 0.5, mesh.cellsX - 1);
  const v = clamp(((y + 0.5) * mesh.cellsY) / mesh.height - 0.5, mesh.cellsY - 1);
  const i = Math.floor(u);
  const j = Math.floor(v);
  const cell = (cx: number, cy: number) =>
    mesh.level[
      (l * mesh.cellsY + clamp(cy, mesh.cellsY - 1)) * mesh.cellsX + clamp(cx, mesh.cellsX - 1)
    ];
  const row = (cy: number) =>
    catmullRom(cell(i - 1, cy), cell(i, cy), cell(i + 1, cy), cell(i + 2, cy), u - i);
  return catmullRom(row(j - 1), row(j), row(j + 1), row(j + 2), v - j);
}

describe('background mesh', () => {
  test('the interpolation is Catmull–Rom in both directions', () => {
    const mesh = randomMesh(3);
    const random = createRandom(4);
    for (let k = 0; k < 300; k++) {
      // Beyond the borders too: there the outermost value is kept.
      const x = -20 + (mesh.width + 40) * random();
      const y = -20 + (mesh.height + 40) * random();
      const l = k % 2;
      // Same formula, another order of operations: rounding only.
      expectClose(meshAt(mesh, mesh.level, l, x, y), slowMeshAt(mesh, l, x, y), { rtol: 1e-12 });
    }
  });

  test.each([
    [0, 1],
    [1, 2],
  ])('whole rows agree with single points: first column %i, step %i', (x0, step) => {
    const mesh = randomMesh(5);
    const columns = Math.floor((mesh.width - x0) / step);
    const rows = createRowInterpolator(mesh, x0, step, columns, 8);
    const kernels = createPlainKernels(4 * (rows.nodes + 8 * rows.nodes + 4));
    const nodes = new Float32Array(kernels.buffer, 0, rows.nodes);
    const out = new Float32Array(kernels.buffer, 4 * rows.nodes, columns);
    for (const y of [0, 1, 31, 100.5, 200, mesh.height - 1]) {
      rows.fill(mesh.level, 1, y, nodes);
      kernels.ramp(0, 4 * rows.nodes, rows.nodes - 1);
      const expected = Float64Array.from(out, (_, i) =>
        meshAt(mesh, mesh.level, 1, x0 + i * step, y),
      );
      // Straight lines over eight columns: h²/8 · |f″|, h = 8·step/64 cells, |f″| ≤ 4 × the largest step (100) of this wild mesh.
      expectClose(out, expected, { atol: ((8 * step) / 64) ** 2 * 50 });
    }
  });

  test('level and noise of a flat sky with stars come out within their errors', () => {
    const stars = starGrid({
      columns: 7,
      rows: 7,
      spacingPx: 45,
      flux: [2000, 200_000],
      fwhmPx: 2.5,
      seed: 8,
    });
    const { frame } = plantedFrame({ width: 320, height: 320, layout: 'cfa', stars, seed: 9 });
    const plan = planChannels(frame);
    const mesh = buildBackground(createFloatReader(frame.rows), plan, 320, 320, 1);
    for (let l = 0; l < 4; l++) {
      // Sky 100 e⁻ at 1 e⁻/ADU on a pedestal of 500; noise √(100 + 2²). Wings of 49 stars add a few tenths of an ADU.
      expectClose(mesh.medianLevel[l], 600, { atol: 1 });
      expectClose(mesh.medianNoise[l], Math.sqrt(104), { rtol: 0.03 });
    }
  });
});

/** Direct two-dimensional filter and search, without rings, windows or rows. */
function slowPeaks(
  image: readonly Float64Array[],
  kernel: Float32Array,
  threshold: number,
): { x: number; y: number; value: number }[] {
  const height = image.length;
  const width = image[0].length;
  const half = (kernel.length - 1) / 2;
  const at = (x: number, y: number): number =>
    x < 0 || y < 0 || x >= width || y >= height ? 0 : image[y][x];
  const filtered = image.map((row, y) =>
    row.map((_, x) => {
      let sum = 0;
      for (let j = -half; j <= half; j++)
        for (let i = -half; i <= half; i++)
          sum += kernel[i + half] * kernel[j + half] * at(x + i, y + j);
      return sum;
    }),
  );
  const peaks = [];
  for (let y = 0; y < height; y++)
    for (let x = 1; x < width - 1; x++) {
      const v = filtered[y][x];
      if (v < threshold) continue;
      let highest = true;
      for (let j = -1; j <= 1; j++)
        for (let i = -1; i <= 1; i++) {
          if (i === 0 && j === 0) continue;
          const other = y + j < 0 || y + j >= height ? 0 : filtered[y + j][x + i];
          if (other >= v) highest = false;
        }
      if (!highest) continue;
      const vertex = (a: number, b: number) =>
        Math.max(-0.5, Math.min(0.5, (0.5 * (b - a)) / (2 * v - a - b)));
      peaks.push({
        x: x + vertex(filtered[y][x - 1], filtered[y][x + 1]),
        y: y + vertex(y > 0 ? filtered[y - 1][x] : 0, y < height - 1 ? filtered[y + 1][x] : 0),
        value: v,
      });
    }
  return peaks;
}

describe('peak search', () => {
  // 5 taps take another path than wider kernels: both are tried on both layouts.
  test.each([
    ['mono', 2.1],
    ['mono', 4.3],
    ['cfa', 3],
    ['cfa', 7.5],
    ['rgb', 2.5],
  ] as const)('streamed rows find what a direct convolution finds: %s, %f px', (layout, fwhmPx) => {
    const width = 101;
    const height = 83;
    const planes = layout === 'rgb' ? 3 : 1;
    const random = createRandom(17);
    const noise = layout === 'mono' ? [10] : layout === 'rgb' ? [8, 10, 14] : [9, 12, 12, 15];
    const bin = layout === 'cfa' ? 2 : 1;
    const data = new Float32Array(width * height * planes);
    const bumps = Array.from({ length: 12 }, () => [
      width * random(),
      height * random(),
      40 + 400 * random(),
    ]);
    for (let i = 0; i < data.length; i++) {
      const plane = Math.floor(i / (width * height));
      const y = Math.floor(i / width) % height;
      const x = i % width;
      const l = bin === 2 ? (y & 1) * 2 + (x & 1) : plane;
      data[i] = 1000 + noise[l] * normal(random);
      for (const [bx, by, peak] of bumps)
        data[i] += peak * Math.exp(-((x - bx) ** 2 + (y - by) ** 2) / 4);
    }
    const frame = memoryFrame({ width, height, data, layout });
    const plan = planChannels(frame);
    const lattices = plan.lattices.length;
    const mesh = meshOf({
      width,
      height,
      cellsX: 1,
      cellsY: 1,
      level: new Array<number>(lattices).fill(1000),
      noise,
    });
    const found = findPeaks(createFloatReader(frame.rows), plan, mesh, width, height, fwhmPx, 4);

    // The combined image: weights 1/σ², unit noise; then the filter's own noise, Σk² (both axes), is divided out.
    const kernel = gaussianKernel(Math.max(1.2, fwhmPx / bin));
    const squares = kernel.reduce((sum, k) => sum + k * k, 0);
    const norm = Math.sqrt(noise.reduce((sum, s) => sum + 1 / (s * s), 0));
    const image = Array.from({ length: Math.floor(height / bin) }, (_, y) =>
      Float64Array.from({ length: Math.floor(width / bin) }, (_, x) => {
        let sum = 0;
        for (let l = 0; l < lattices; l++) {
          const sx = bin === 2 ? 2 * x + (l & 1) : x;
          const sy = bin === 2 ? 2 * y + (l >> 1) : y;
          const plane = bin === 2 ? 0 : l;
          sum += (data[(plane * height + sy) * width + sx] - 1000) / (noise[l] * noise[l]);
        }
        return sum / (norm * squares);
      }),
    );
    const scale = Math.max(1, found.noiseCorrelation);
    const expected = slowPeaks(image, kernel, 4 * scale);
    expect(expected.length).toBeGreaterThan(5);
    expect(found.length).toBe(expected.length);
    expected.forEach((peak, k) => {
      // 32-bit sums against 64-bit ones; the vertex of a flat top magnifies rounding.
      expectClose(found.significance[k], peak.value / scale, { rtol: 1e-4 });
      expectClose(found.x[k], bin * peak.x + 0.5 * (bin - 1), { atol: 2e-3 });
      expectClose(found.y[k], bin * peak.y + 0.5 * (bin - 1), { atol: 2e-3 });
    });
  });

  test('the noise of the filtered image is that of white noise', () => {
    const { frame } = plantedFrame({ width: 300, height: 300, layout: 'cfa', seed: 12 });
    const plan = planChannels(frame);
    const read = createFloatReader(frame.rows);
    const mesh = buildBackground(read, plan, 300, 300, 1);
    const peaks = findPeaks(read, plan, mesh, 300, 300, 3, 5);
    // 22,500 cells, of which about one in four is independent after the filter: 1 % of σ; three of that.
    expectClose(peaks.noiseCorrelation, 1, { atol: 0.03 });
    expect(peaks.length).toBeLessThanOrEqual(1);
  });
});

describe('stamps', () => {
  test('hold the samples of the frame less the background at the centre, and NaN off the frame', () => {
    const width = 60;
    const height = 50;
    const random = createRandom(2);
    const data = Float32Array.from({ length: width * height }, () => 1000 * random());
    const frame = memoryFrame({ width, height, data, layout: 'cfa', cfa: 'GRBG' });
    const plan = planChannels(frame);
    const level = [10, 20, 30, 40];
    const mesh = meshOf({
      width,
      height,
      cellsX: 1,
      cellsY: 1,
      level,
      noise: [1, 1, 1, 1],
    });
    const xs = [3, 30.4, 58.9, 17];
    const ys = [48.7, 20.2, 1, 20.6];
    const stamps = cutStamps(createFloatReader(frame.rows), plan, mesh, xs, ys, 6);
    xs.forEach((x, k) => {
      for (let dy = -6; dy <= 6; dy++)
        for (let dx = -6; dx <= 6; dx++) {
          const column = Math.round(x) + dx;
          const row = Math.round(ys[k]) + dy;
          const inside = column >= 0 && row >= 0 && column < width && row < height;
          const site = (row & 1) * 2 + (column & 1);
          const value = stamps.data[(k * 13 + dy + 6) * 13 + dx + 6];
          // Stored as 32-bit floats.
          if (inside)
            expectClose(value, data[row * width + column] - level[site], {
              rtol: 1e-6,
              atol: 1e-4,
            });
          else expect(value).toBeNaN();
        }
    });
  });

  test('every site of a mosaic belongs to the channel of its letter', () => {
    for (const cfa of ['RGGB', 'BGGR', 'GRBG', 'GBRG'] as const) {
      const frame = memoryFrame({
        width: 8,
        height: 8,
        data: new Uint16Array(64),
        layout: 'cfa',
        cfa,
      });
      const plan = planChannels(frame);
      const table = siteTable(plan);
      const letters = Array.from(table, (l) => plan.channels[plan.lattices[l].channel]);
      expect(letters.join('')).toBe(cfa);
    }
  });
});
