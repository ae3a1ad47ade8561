/** Diffraction by a round, clear aperture that is out of focus. */
import { diffractionOtf } from './airy.js';
import { gaussLegendre, type Quadrature } from './quadrature.js';

/** Radians of phase that a panel of the rule carries; with its eight points the error stays below 10⁻⁸. */
const RADIANS_PER_PANEL = 6;
const POINTS_PER_PANEL = 8;
const BASE = gaussLegendre(POINTS_PER_PANEL);
/** Below this the defocus changes the transfer function by less than 10⁻⁶. */
const NO_DEFOCUS_WAVES = 1e-4;

/** Waves of wavefront error at the rim of the aperture: Δz/(8 N² λ) (Born & Wolf, section 8.8.1). */
export function defocusWaves(defocusUm: number, wavelengthNm: number, focalRatio: number): number {
  return defocusUm / (8 * focalRatio * focalRatio * wavelengthNm * 1e-3);
}

/** Points and weights of ∫₀¹ for `panels` panels; kept, since a whole band asks for the same few. */
const rules = new Map<number, Quadrature>();
function unitRule(panels: number): Quadrature {
  const known = rules.get(panels);
  if (known) return known;
  const node = new Float64Array(panels * POINTS_PER_PANEL);
  const weight = new Float64Array(panels * POINTS_PER_PANEL);
  for (let i = 0; i < node.length; i++) {
    const k = i % POINTS_PER_PANEL;
    const panel = (i - k) / POINTS_PER_PANEL;
    node[i] = (panel + 0.5 + (BASE.node[k] as number) / 2) / panels;
    weight[i] = (BASE.weight[k] as number) / 2 / panels;
  }
  const rule = { node, weight };
  rules.set(panels, rule);
  return rule;
}

/**
 * Transfer function at `s` (units of the cut-off 1/(λN); 0 beyond it, even in `s`) with `waves` of defocus at the rim.
 *
 * The autocorrelation of the pupil (Hopkins 1955, Proc. R. Soc. A 231, 91). Over the overlap of two unit circles 2s apart the phases
 * differ by a x, a = 8π · waves · s; with x + s = cos t,
 * H(s) = (4/π) ∫₀^{arccos s} sin² t cos(a (cos t − s)) dt. Negative values are the reversed contrast of a defocused image.
 */
export function defocusedOtf(s: number, waves: number): number {
  const t = Math.abs(s);
  if (t >= 1) return 0;
  const a = 8 * Math.PI * Math.abs(waves) * t;
  if (Math.abs(waves) < NO_DEFOCUS_WAVES) return diffractionOtf(t);
  const end = Math.acos(t);
  const rule = unitRule(1 + Math.ceil((a * (1 - t)) / RADIANS_PER_PANEL));
  let sum = 0;
  for (let i = 0; i < rule.node.length; i++) {
    const angle = end * (rule.node[i] as number);
    const sine = Math.sin(angle);
    sum += (rule.weight[i] as number) * sine * sine * Math.cos(a * (Math.cos(angle) - t));
  }
  return (4 / Math.PI) * end * sum;
}
