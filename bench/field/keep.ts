/** Measured scenes kept on disk: rendering takes most of a run, and a run may be made in parts or repeated with other causes. */
import { existsSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { deserialize, serialize } from 'node:v8';
import { type MeasuredScene, measureScene } from './outcomes.js';
import type { FieldScene } from './render.js';

/** The columns alone, cut to their stars. */
function withoutStamps({ columns, colour, beta }: MeasuredScene): MeasuredScene {
  const { n, width, height, x, y, t, tError, q1, q2, qError, k1, k2, kError } = columns;
  const cut = (column: Float64Array): Float64Array => Float64Array.from(column.subarray(0, n));
  return {
    columns: {
      n,
      width,
      height,
      x: cut(x),
      y: cut(y),
      t: cut(t),
      tError: cut(tError),
      q1: cut(q1),
      q2: cut(q2),
      qError: cut(qError),
      k1: cut(k1),
      k2: cut(k2),
      kError: cut(kError),
    },
    colour,
    beta,
  };
}

/**
 * Measures a scene, or reads it from `folder` where it was measured before. Files are only as good as the code that made them: empty the
 * folder when renderer or star fit change.
 * @param folder null = nothing is kept
 */
export function measuredOnce(
  folder: string | null,
  name: string,
  scene: FieldScene,
): MeasuredScene {
  if (folder === null) return measureScene(scene);
  const path = join(folder, `${name}.bin`);
  if (existsSync(path)) return deserialize(readFileSync(path)) as MeasuredScene;
  const measured = withoutStamps(measureScene(scene));
  mkdirSync(folder, { recursive: true });
  writeFileSync(path, serialize(measured));
  return measured;
}
