/** Elliptical Moffat and Gaussian profiles, integrated over the pixel by quadrature. */

/** An elliptical profile of unit flux about the origin, ready for evaluation. */
export interface Profile {
  /** Brightness = norm × (1 + s)^(−β) or norm × exp(−s), s = xx x² + xy x y + yy y². */
  gaussian: boolean;
  beta: number;
  norm: number;
  xx: number;
  xy: number;
  yy: number;
  fwhmPx: number;
}

/** Gauss–Legendre nodes and weights on [−½, ½] (Abramowitz & Stegun, table 25.4). */
const RULES: Record<2 | 3 | 5, readonly (readonly [number, number])[]> = {
  2: [
    [-0.28867513459481287, 0.5],
    [0.28867513459481287, 0.5],
  ],
  3: [
    [-0.3872983346207417, 0.2777777777777778],
    [0, 0.4444444444444444],
    [0.3872983346207417, 0.2777777777777778],
  ],
  5: [
    [-0.453089922969332, 0.11846344252809454],
    [-0.26923465505284155, 0.23931433524968324],
    [0, 0.28444444444444444],
    [0.26923465505284155, 0.23931433524968324],
    [0.453089922969332, 0.11846344252809454],
  ],
};

/** A profile of geometric-mean width `fwhmPx`, ellipticity (a − b)/(a + b) and long-axis angle from +x. */
export function createProfile(
  gaussian: boolean,
  fwhmPx: number,
  beta: number,
  ellipticity: number,
  angleDeg: number,
): Profile {
  // Scale length at which s = 1: α of the Moffat, √2 σ of the Gaussian.
  const scale = gaussian
    ? fwhmPx / (2 * Math.sqrt(Math.LN2))
    : fwhmPx / (2 * Math.sqrt(2 ** (1 / beta) - 1));
  const root = Math.sqrt((1 + ellipticity) / (1 - ellipticity));
  const major = scale * root;
  const minor = scale / root;
  const cos = Math.cos((angleDeg * Math.PI) / 180);
  const sin = Math.sin((angleDeg * Math.PI) / 180);
  const p = 1 / (major * major);
  const q = 1 / (minor * minor);
  return {
    gaussian,
    beta,
    norm: (gaussian ? 1 : beta - 1) / (Math.PI * major * minor),
    xx: p * cos * cos + q * sin * sin,
    yy: p * sin * sin + q * cos * cos,
    xy: 2 * cos * sin * (p - q),
    fwhmPx,
  };
}

/** Mean brightness over the unit pixel centred at (x, y): Gauss–Legendre of an order that suits the distance. */
export function pixelMean(profile: Profile, x: number, y: number): number {
  const { gaussian, beta, norm, xx, xy, yy, fwhmPx } = profile;
  const distance = Math.sqrt(x * x + y * y);
  const rule = RULES[distance < 2.5 * fwhmPx + 1 ? 5 : distance < 6 * fwhmPx ? 3 : 2];
  let sum = 0;
  for (let j = 0; j < rule.length; j++) {
    const v = y + rule[j][0];
    let row = 0;
    for (let i = 0; i < rule.length; i++) {
      const u = x + rule[i][0];
      const s = xx * u * u + xy * u * v + yy * v * v;
      row += rule[i][1] * (gaussian ? Math.exp(-s) : moffatFactor(1 + s, beta));
    }
    sum += rule[j][1] * row;
  }
  return norm * sum;
}

/** base^(−beta), base ≥ 1; exponents of a half or whole number take the fast way. */
function moffatFactor(base: number, beta: number): number {
  const whole = Math.floor(beta);
  const rest = beta - whole;
  if ((rest !== 0 && rest !== 0.5) || whole > 8) return base ** -beta;
  let power = rest === 0 ? 1 : Math.sqrt(base);
  for (let i = 0; i < whole; i++) power *= base;
  return 1 / power;
}

/** Full width at half maximum of the recorded image along a direction, by bisection. */
export function axisWidth(profile: Profile, angleDeg: number): number {
  const cos = Math.cos((angleDeg * Math.PI) / 180);
  const sin = Math.sin((angleDeg * Math.PI) / 180);
  const half = pixelMean(profile, 0, 0) / 2;
  let low = 0;
  let high = 4 * profile.fwhmPx + 2;
  for (let i = 0; i < 50; i++) {
    const middle = (low + high) / 2;
    if (pixelMean(profile, middle * cos, middle * sin) > half) low = middle;
    else high = middle;
  }
  return low + high;
}

/** The recorded image on a fine grid, values per grid point, out to 12 FWHM. */
export function oversampled(profile: Profile): {
  image: Float32Array;
  size: number;
  perPixel: number;
} {
  const perPixel = profile.fwhmPx < 2.5 ? 8 : profile.fwhmPx < 5 ? 4 : 2;
  const half = Math.ceil((12 * profile.fwhmPx + 4) * perPixel);
  const size = 2 * half;
  const image = new Float32Array(size * size);
  for (let y = 0; y < size; y++)
    for (let x = 0; x < size; x++)
      image[y * size + x] =
        pixelMean(profile, (x - half) / perPixel, (y - half) / perPixel) / (perPixel * perPixel);
  return { image, size, perPixel };
}

/** Radius at which the profile falls below `brightness`, along its long axis. */
export function cutRadius(profile: Profile, brightness: number, limit: number): number {
  const half = (profile.xx + profile.yy) / 2;
  const split = Math.sqrt(((profile.xx - profile.yy) / 2) ** 2 + (profile.xy / 2) ** 2);
  const ratio = Math.max(profile.norm / brightness, 1);
  const s = profile.gaussian ? Math.log(ratio) : ratio ** (1 / profile.beta) - 1;
  return Math.min(limit * 4, Math.sqrt(s / (half - split)) + 2);
}
