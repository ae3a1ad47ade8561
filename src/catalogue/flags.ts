/** The one registry of star flags: bit, name (used in JSON and CSV), meaning. Docs and decoders derive from it. */
export const STAR_FLAGS = [
  {
    bit: 1 << 0,
    name: 'saturated',
    meaning: 'a sample of the star, in any channel, reaches the clipping level',
  },
  {
    bit: 1 << 1,
    name: 'blended',
    meaning: 'a neighbour too close and too bright to be taken off reliably',
  },
  {
    bit: 1 << 2,
    name: 'edge',
    meaning: 'too close to the border, or touching samples without value',
  },
  { bit: 1 << 3, name: 'hot pixel', meaning: 'the light sits in a single sample' },
  {
    bit: 1 << 4,
    name: 'cosmic ray',
    meaning: 'narrower than any star of this frame along at least one axis',
  },
  {
    bit: 1 << 5,
    name: 'extended',
    meaning: 'wider than the stars of this frame: galaxy, nebula knot, defocus ring',
  },
  {
    bit: 1 << 6,
    name: 'trail',
    meaning: 'part of a line: satellite, aircraft, bad column or bleeding',
  },
  {
    bit: 1 << 7,
    name: 'poor fit',
    meaning: 'the star model does not describe the samples, or the fit failed',
  },
  {
    bit: 1 << 8,
    name: 'faint',
    meaning: 'a star, but below the signal-to-noise needed to measure its shape',
  },
  { bit: 1 << 9, name: 'outside zone', meaning: 'a good star outside the zone asked for' },
  {
    bit: 1 << 10,
    name: 'over limit',
    meaning:
      'a good star beyond the number used: --max-stars, or what the memory for profiles holds',
  },
] as const;

export type StarFlagName = (typeof STAR_FLAGS)[number]['name'];

/** Bit of a flag by name. */
export const FLAG: Readonly<Record<StarFlagName, number>> = Object.fromEntries(
  STAR_FLAGS.map((flag) => [flag.name, flag.bit]),
) as Record<StarFlagName, number>;

/** Names of all flags set in `bits`, in registry order. */
export function flagNames(bits: number): StarFlagName[] {
  return STAR_FLAGS.filter((flag) => (bits & flag.bit) !== 0).map((flag) => flag.name);
}
