/** How a scene is divided for rendering: star temperatures and points of the field that share one star image. */
import { variesOverField } from './optical-train.js';
import type { Scene } from './scene.js';
import type { PointSources } from './sky.js';

/** A temperature class: the black body its images are made for, and the sources that use them. */
export interface TemperatureClass {
  temperatureK: number;
  members: Int32Array;
}

/** Classes evenly spaced in 1/T over the stars present. */
export function temperatureClasses(scene: Scene, sources: PointSources): TemperatureClass[] {
  if (sources.length === 0) return [{ temperatureK: 5600, members: new Int32Array() }];
  let coolest = Number.POSITIVE_INFINITY;
  let hottest = 0;
  for (const kelvin of sources.temperatureK) {
    coolest = Math.min(coolest, kelvin);
    hottest = Math.max(hottest, kelvin);
  }
  const low = 1 / hottest;
  const span = 1 / coolest - low;
  const count = span > 0 ? scene.rendering.temperatureClasses : 1;
  const lists: number[][] = Array.from({ length: count }, () => []);
  for (let i = 0; i < sources.length; i++) {
    const position = span > 0 ? ((1 / sources.temperatureK[i] - low) / span) * count : 0;
    lists[Math.min(count - 1, Math.floor(position))].push(i);
  }
  return lists.map((list, k) => ({
    temperatureK: 1 / (low + (span * (k + 0.5)) / count),
    members: Int32Array.from(list),
  }));
}

/** Field points, the one nearest the centre first, with each source's weight: bilinear between the nearest four. */
export function fieldNodes(
  scene: Scene,
  sources: PointSources,
): { xPx: number; yPx: number; weights: Float64Array }[] {
  const { widthPx, heightPx } = scene.camera;
  if (!variesOverField(scene))
    return [
      {
        xPx: (widthPx - 1) / 2,
        yPx: (heightPx - 1) / 2,
        weights: new Float64Array(sources.length).fill(1),
      },
    ];
  const [columns, rows] = scene.rendering.fieldNodes;
  const nodes = [];
  const tent = (value: number, length: number, count: number, index: number) => {
    const position = Math.min(count - 1, Math.max(0, (value / (length - 1)) * (count - 1)));
    return Math.max(0, 1 - Math.abs(position - index));
  };
  for (let row = 0; row < rows; row++)
    for (let column = 0; column < columns; column++) {
      const weights = new Float64Array(sources.length);
      for (let i = 0; i < sources.length; i++)
        weights[i] =
          tent(sources.xPx[i], widthPx, columns, column) *
          tent(sources.yPx[i], heightPx, rows, row);
      nodes.push({
        xPx: (column / (columns - 1)) * (widthPx - 1),
        yPx: (row / (rows - 1)) * (heightPx - 1),
        weights,
      });
    }
  const fromCentre = (node: { xPx: number; yPx: number }) =>
    (node.xPx - (widthPx - 1) / 2) ** 2 + (node.yPx - (heightPx - 1) / 2) ** 2;
  return nodes.sort((a, b) => fromCentre(a) - fromCentre(b));
}
