/** Where each channel's pixels lie in the stored plane or planes. */
import type { Band } from './bands.js';
import type { Scene } from './scene.js';
import type { SiteLattice } from './stamp.js';

/** Plane and lattices of a channel's samples. */
export function latticesOf(
  layout: Scene['camera']['layout'],
  cfa: Scene['camera']['cfa'],
  band: Band,
): { plane: number; lattices: SiteLattice[] } {
  const every = [{ x0: 0, y0: 0, step: 1 }];
  if (layout === 'mono') return { plane: 0, lattices: every };
  if (layout === 'rgb') return { plane: 'RGB'.indexOf(band), lattices: every };
  const lattices: SiteLattice[] = [];
  for (let site = 0; site < 4; site++)
    if (cfa[site] === band) lattices.push({ x0: site % 2, y0: site >> 1, step: 2 });
  return { plane: 0, lattices };
}
