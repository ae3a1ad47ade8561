/** Seeded random numbers: the same seed gives the same sequence on every machine. Not for cryptography. */

/** A generator of uniform doubles in [0, 1): sfc32, seeded through splitmix32 (public-domain algorithms by C. Doty-Humphrey and G. Steele et al.). */
export function createRandom(seed: number): () => number {
  let state = seed >>> 0;
  const next = (): number => {
    state = (state + 0x9e3779b9) | 0;
    let t = state ^ (state >>> 16);
    t = Math.imul(t, 0x21f0aaad);
    t ^= t >>> 15;
    t = Math.imul(t, 0x735a2d97);
    return (t ^ (t >>> 15)) >>> 0;
  };
  let a = next();
  let b = next();
  let c = next();
  let d = 1;
  const draw = (): number => {
    const t = (((a + b) | 0) + d) | 0;
    d = (d + 1) | 0;
    a = b ^ (b >>> 9);
    b = (c + (c << 3)) | 0;
    c = ((c << 21) | (c >>> 11)) + t;
    return (t >>> 0) / 4294967296;
  };
  for (let i = 0; i < 12; i++) draw();
  return draw;
}

/** One standard normal deviate by Box–Muller (1958, Ann. Math. Stat. 29, 610); `random` as from `createRandom`. */
export function normal(random: () => number): number {
  const u = 1 - random();
  return Math.sqrt(-2 * Math.log(u)) * Math.cos(2 * Math.PI * random());
}
