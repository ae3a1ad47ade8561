/** The plain words for a halo, measured or expected. */

export type SeenHalo = 'trace' | 'plain' | 'strong' | 'dominant';

/** Blue-minus-red over the perfect lens, in points of the star's light at r80 of green: where each word begins. */
export const HALO_LEVELS: readonly { from: number; level: SeenHalo }[] = [
  { from: 30, level: 'dominant' },
  { from: 15, level: 'strong' },
  { from: 5, level: 'plain' },
  { from: 2, level: 'trace' },
];

/** The word for an excess without error. */
export function levelOfExcess(percent: number): SeenHalo | 'none' {
  return HALO_LEVELS.find(({ from }) => percent >= from)?.level ?? 'none';
}
