/** Laws of the field and the wave-optics response, against textbook relations. */
import { describe, expect, it } from 'vitest';
import {
  ASTIG,
  BX,
  COMA,
  CX,
  FIELD_PARAMETERS,
  KAPPA,
  mirrored,
  OBSERVABLES,
  predictField,
  T0,
  TX,
  U1,
  U2,
  Z0,
} from '../../src/field/laws.js';
import {
  comaNm,
  defocusUm,
  diffractionShare,
  fwhmOfSize,
  responseAt,
  responseValue,
} from '../../src/field/response.js';
import { depthOfFocusUm } from '../../src/optics/depth-of-focus.js';
import { expectClose } from '../expect-close.js';

const response = responseAt(0.1);

function at(values: Partial<Record<number, number>>, u: number, v: number): number[] {
  const p = new Float64Array(FIELD_PARAMETERS);
  p[T0] = 4;
  for (const [j, value] of Object.entries(values)) p[Number(j)] = value as number;
  const out = new Float64Array(OBSERVABLES);
  predictField(p, response, Float64Array.of(u), Float64Array.of(v), out);
  return [...out];
}

describe('third-order field dependence (Seidel; Born & Wolf, Principles of Optics, section 5.3; from memory)', () => {
  it('coma is linear in the field and points along it', () => {
    const [, , , kx, ky] = at({ [COMA]: 0.1 }, 0.3, 0.4);
    const [, , , kx2, ky2] = at({ [COMA]: 0.1 }, 0.6, 0.8);
    expectClose([kx2, ky2], [2 * kx, 2 * ky], { rtol: 1e-9 });
    expectClose(ky / kx, 4 / 3, { rtol: 1e-9 });
  });

  it('curvature and astigmatism are quadratic: blur of either grows as the fourth power in T', () => {
    for (const j of [KAPPA, ASTIG]) {
      const near = at({ [j]: 0.1 }, 0.5, 0)[0] - 4;
      const far = at({ [j]: 0.1 }, 1, 0)[0] - 4;
      expectClose(far / near, 16, { rtol: 1e-3 });
    }
  });

  it('astigmatism out of focus is radial on one side of focus and tangential on the other', () => {
    const [, q1, q2] = at({ [ASTIG]: 0.3, [Z0]: 0.5 }, 0.6, 0.6);
    // At 45 degrees a radial star has Q = (0, +).
    expect(Math.abs(q1)).toBeLessThan(1e-12);
    expect(q2).toBeGreaterThan(0);
    const other = at({ [ASTIG]: 0.3, [Z0]: -0.5 }, 0.6, 0.6);
    expectClose(other[2], -q2, { rtol: 1e-12 });
  });

  it('coma stretches a star twice as far along as across in mean square: Q = T / 2', () => {
    // √8 (3ρ³ − 2ρ) cos θ: mean squares of the ray offsets 36 and 12 (in (2 N c)²), so Q/T = 24/48.
    let xx = 0;
    let yy = 0;
    let mean = 0;
    let n = 0;
    for (let i = -200; i <= 200; i++)
      for (let j = -200; j <= 200; j++) {
        const x = i / 200;
        const y = j / 200;
        const r2 = x * x + y * y;
        if (r2 > 1) continue;
        const gx = Math.sqrt(8) * (3 * r2 - 2 + 6 * x * x);
        const gy = Math.sqrt(8) * 6 * x * y;
        mean += gx;
        xx += gx * gx;
        yy += gy * gy;
        n++;
      }
    xx = xx / n - (mean / n) ** 2;
    yy /= n;
    expectClose([xx, yy], [36, 12], { rtol: 0.02 });
    // 100 nm at N = 5, pixel 4 µm: √48 × 2 × 5 × 0.1 µm / 4 µm.
    expectClose(comaNm((Math.sqrt(48) * 2 * 5 * 0.1) / 4, 5, 4), 100, { rtol: 1e-12 });
  });
});

describe('one frame cannot tell', () => {
  it('both signs of all focus terms predict the same stars', () => {
    const p = Float64Array.of(3, 0.5, 0.7, -0.4, 0.9, 0.4, 0.2, -0.3, 0.3, 0.5, -0.6, 0.2, 0.1);
    const u = Float64Array.of(0.3, -0.6, 0.5, 0);
    const v = Float64Array.of(-0.5, 0.2, 0.7, 0);
    const a = new Float64Array(20);
    const b = new Float64Array(20);
    predictField(p, response, u, v, a);
    predictField(mirrored(p), response, u, v, b);
    expectClose(b, a, { rtol: 1e-12 });
  });

  it('a shifted centre of curvature is a tilt plus a little defocus', () => {
    const shift = 0.3;
    const shifted = at(
      { [KAPPA]: 0.8, [TX]: -2 * 0.8 * shift, [Z0]: 0.8 * shift * shift },
      0.7,
      0.2,
    );
    const centred = at({ [KAPPA]: 0.8 }, 0.7 - shift, 0.2);
    expectClose(shifted, centred, { rtol: 1e-12 });
  });
});

describe('derivatives', () => {
  it('equal differences', () => {
    const p = Float64Array.of(3, 0.5, 0.7, -0.4, 0.9, 0.4, 0.2, -0.3, 0.3, 0.5, -0.6, 0.2, 0.1);
    const u = Float64Array.of(0.3, -0.6, 0.5);
    const v = Float64Array.of(-0.5, 0.2, 0.7);
    const out = new Float64Array(15);
    const jacobian = new Float64Array(15 * FIELD_PARAMETERS);
    predictField(p, response, u, v, out, jacobian);
    for (let j = 0; j < FIELD_PARAMETERS; j++) {
      const h = 1e-6;
      const moved = Float64Array.from(p);
      moved[j] += h;
      const other = new Float64Array(15);
      predictField(moved, response, u, v, other);
      for (let i = 0; i < 15; i++)
        expectClose(jacobian[i * FIELD_PARAMETERS + j], (other[i] - out[i]) / h, { atol: 1e-4 });
    }
  });

  it('uniform elongation enters everywhere alike', () => {
    expect(at({ [U1]: 0.2, [U2]: -0.1 }, 0.9, -0.3).slice(1, 3)).toEqual([0.2, -0.1]);
    expect(at({ [BX]: 0, [CX]: 0 }, 0.9, -0.3)[0]).toBe(4);
  });
});

describe('defocus', () => {
  it('a disc of diameter |Δz|/N (geometric optics) has the root-mean-square radius used', () => {
    // Δz 100 µm at f/5 on 4 µm pixels: 20 µm = 5 px across; RMS radius 5/(2√2).
    expectClose(defocusUm(5 / (2 * Math.SQRT2), 5, 4), 100, { rtol: 1e-12 });
  });

  it('within the depth of focus ± 2 λ N² a star limited by diffraction hardly grows', () => {
    // f/14 on 4 µm pixels in good air: nearly all diffraction. λ/4 at the rim lowers the peak by a fifth (Rayleigh; Born & Wolf 8.8.2).
    const t0 = 6;
    const share = diffractionShare(14, 4, t0) as number;
    const z = depthOfFocusUm(540, 14) / defocusUm(1, 14, 4);
    const growth = responseValue(responseAt(share).defocus, (z * z) / t0) * z * z;
    const wider = fwhmOfSize(t0 + growth) / fwhmOfSize(t0);
    expect(wider).toBeGreaterThan(1.01);
    expect(wider).toBeLessThan(1.15);
  });

  it('far from focus diffraction no longer matters: the answers of all focal ratios come together', () => {
    const soft = responseValue(responseAt(0.35).defocus, 4);
    const sharp = responseValue(responseAt(0.05).defocus, 4);
    expect(Math.abs(soft / sharp - 1)).toBeLessThan(0.15);
    const near = responseValue(responseAt(0.35).defocus, 0.05);
    expect(near).toBeLessThan(0.65 * responseValue(responseAt(0.05).defocus, 0.05));
  });
});
