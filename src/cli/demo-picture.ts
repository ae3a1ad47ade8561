/** The picture of the demonstration: the same bright star cut from each frame. */
import type { Frame } from '../frame/frame.js';
import { openFrame } from '../frame/open.js';
import { type MosaicCrop, panelsPng } from '../report/picture.js';
import type { StarTruth, Truth } from '../simulate/truth.js';
import type { Rendered } from './simulate-task.js';

/** Side of the cut, px; even, so that every cut starts at the same mosaic site. */
const SIZE = 56;
/** Another star counts as a disturbance inside this distance and above this share of the light. */
const QUIET_PX = 30;
const QUIET_SHARE = 0.03;

/** PNG of the panels in the order of `rendered`. */
export async function demoPicture(
  rendered: readonly Rendered[],
  labels: readonly { title: string; line: string }[],
): Promise<Uint8Array> {
  const [first] = rendered;
  const star = first === undefined ? null : brightLonelyStar(first.truth);
  if (star === null) throw new Error('no star in the demonstration frames suits the picture');
  const panels = [];
  for (const [i, { frameFile, truth }] of rendered.entries()) {
    const frame = await openFrame(frameFile);
    try {
      const crop = cut(frame, truth, nearest(truth, star));
      panels.push({ crop, title: labels[i]?.title ?? '', line: labels[i]?.line ?? '' });
    } finally {
      frame.rows.close();
    }
  }
  return panelsPng(panels);
}

const green = (star: StarTruth): number => star.fluxElectrons.G ?? 0;
const distance = (a: StarTruth, b: StarTruth): number =>
  Math.sqrt((a.x - b.x) ** 2 + (a.y - b.y) ** 2);

/** The brightest star that is whole in the frame, not clipped, and has no disturbing neighbour. */
function brightLonelyStar(truth: Truth): StarTruth | null {
  const { widthPx, heightPx } = truth.scene.camera;
  const candidates = truth.stars
    .filter(
      (star) =>
        !star.clipped &&
        star.x > SIZE &&
        star.y > SIZE &&
        star.x < widthPx - SIZE &&
        star.y < heightPx - SIZE,
    )
    .sort((a, b) => green(b) - green(a));
  return (
    candidates.find((star) =>
      truth.stars.every(
        (other) =>
          other === star ||
          distance(star, other) > QUIET_PX ||
          green(other) < QUIET_SHARE * green(star),
      ),
    ) ?? null
  );
}

/** The same star in another frame of the same sky. */
function nearest(truth: Truth, star: StarTruth): StarTruth {
  return truth.stars.reduce((best, each) =>
    distance(each, star) < distance(best, star) ? each : best,
  );
}

function cut(frame: Frame, truth: Truth, star: StarTruth): MosaicCrop {
  const { rows, cfa } = frame;
  if (cfa === null) throw new Error('the demonstration frames are colour mosaics');
  const x0 = 2 * Math.round((star.x - SIZE / 2) / 2);
  const y0 = 2 * Math.round((star.y - SIZE / 2) / 2);
  const window = new Uint16Array(rows.width * SIZE);
  rows.readRows(0, y0, SIZE, window);
  const samples = new Float32Array(SIZE * SIZE);
  for (let y = 0; y < SIZE; y++) {
    for (let x = 0; x < SIZE; x++) {
      samples[y * SIZE + x] = rows.zero + rows.scale * (window[y * rows.width + x0 + x] as number);
    }
  }
  const { backgroundAdu } = truth.camera;
  return {
    samples,
    size: SIZE,
    pattern: cfa.pattern,
    background: {
      R: backgroundAdu.R ?? 0,
      G: backgroundAdu.G ?? 0,
      B: backgroundAdu.B ?? 0,
    },
  };
}
