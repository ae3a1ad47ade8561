/** Usual sizes of sensors, and which of them a circle of light serves. */

/** Sides of usual sensors, mm (common practice, from memory; makers differ by some tenths). Smallest first. */
const SENSOR_FORMATS: readonly (readonly [number, number])[] = [
  [13.2, 8.8],
  [17.3, 13],
  [23.5, 15.6],
  [36, 24],
  [44, 33],
];

/** Sides of the largest usual sensor whose half diagonal fits into a radius, mm; null = none. */
export function formatWithin(radiusMm: number): [number, number] | null {
  let largest: [number, number] | null = null;
  for (const [width, height] of SENSOR_FORMATS) {
    if (0.5 * Math.sqrt(width ** 2 + height ** 2) <= radiusMm) largest = [width, height];
  }
  return largest;
}
