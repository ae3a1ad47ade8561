/** Stars and galaxies of a scene: drawn once from the sky's seed, then projected into a telescope's frame. */
import { createRandom, normal } from '../stats/random.js';
import { type Band, bandIntegral, PHOTONS_MAGNITUDE_ZERO } from './bands.js';
import { scaleArcsecPerPx, sceneBands } from './optical-train.js';
import type { Scene } from './scene.js';

/** Point sources in frame coordinates, one typed array per column. */
export interface PointSources {
  length: number;
  xPx: Float64Array;
  yPx: Float64Array;
  magnitude: Float64Array;
  temperatureK: Float64Array;
  /** −1 for a star, else the index of the galaxy it is a part of. */
  galaxy: Int32Array;
}

/** Points that stand for one galaxy: their spacing lies below the width of the star images. */
const GALAXY_POINTS = 600;
/** Share of an exponential disk's light that is drawn (to 7.4 scale lengths). */
const GALAXY_LIGHT = 0.995;
/** Turn between neighbouring points of a sunflower pattern. */
const GOLDEN_ANGLE = Math.PI * (3 - Math.sqrt(5));

interface SkyStar {
  x: number;
  y: number;
  magnitude: number;
  temperatureK: number;
}

/** All point sources whose light can reach the frame: inside it or within `marginPx` of its border. */
export function drawSources(scene: Scene, marginPx: number): PointSources {
  const stars = drawStars(scene);
  const rows: { star: SkyStar; galaxy: number }[] = stars.map((star) => ({ star, galaxy: -1 }));
  scene.sky.galaxies.forEach((galaxy, index) => {
    for (const star of galaxyPoints(galaxy)) rows.push({ star, galaxy: index });
  });
  const { widthPx, heightPx, rotationDeg, pointingPx } = scene.camera;
  const scale = scaleArcsecPerPx(scene);
  const cos = Math.cos((rotationDeg * Math.PI) / 180) / scale;
  const sin = Math.sin((rotationDeg * Math.PI) / 180) / scale;
  const kept: { x: number; y: number; star: SkyStar; galaxy: number }[] = [];
  for (const { star, galaxy } of rows) {
    const x = (widthPx - 1) / 2 + pointingPx[0] + cos * star.x - sin * star.y;
    const y = (heightPx - 1) / 2 + pointingPx[1] + sin * star.x + cos * star.y;
    const near = (value: number, length: number) =>
      value > -0.5 - marginPx && value < length - 0.5 + marginPx;
    if (near(x, widthPx) && near(y, heightPx)) kept.push({ x, y, star, galaxy });
  }
  const column = (pick: (row: (typeof kept)[number]) => number) => Float64Array.from(kept, pick);
  return {
    length: kept.length,
    xPx: column((row) => row.x),
    yPx: column((row) => row.y),
    magnitude: column((row) => row.star.magnitude),
    temperatureK: column((row) => row.star.temperatureK),
    galaxy: Int32Array.from(kept, (row) => row.galaxy),
  };
}

/** Electrons that a source of magnitude 0 at 550 nm gives in each band over the exposure, by temperature. */
export function zeroMagnitudeElectrons(scene: Scene, band: Band, temperatureK: number): number {
  const { apertureMm, transmission } = scene.telescope;
  const areaCm2 = (Math.PI / 4) * (apertureMm / 10) ** 2;
  return (
    PHOTONS_MAGNITUDE_ZERO *
    areaCm2 *
    transmission *
    scene.exposureSeconds *
    bandIntegral(band, temperatureK)
  );
}

/** Background electrons per pixel in each band, at the frame's centre without nebulae. */
export function skyElectrons(scene: Scene): Partial<Record<Band, number>> {
  const { backgroundMagnitude, backgroundColour } = scene.sky;
  const out: Partial<Record<Band, number>> = {};
  const pixelArea = scaleArcsecPerPx(scene) ** 2;
  for (const band of sceneBands(scene)) {
    const colour = band === 'L' ? 1 : backgroundColour[band];
    out[band] =
      backgroundMagnitude === null
        ? 0
        : 10 ** (-0.4 * backgroundMagnitude) *
          pixelArea *
          colour *
          zeroMagnitudeElectrons(scene, band, 5600);
  }
  return out;
}

/** Brightest first. */
function drawStars(scene: Scene): SkyStar[] {
  const { sky } = scene;
  const [width, height] = sky.extentArcmin;
  const random = createRandom(sky.seed);
  const count = Math.round(sky.starsPerSquareArcmin * width * height);
  const range = 10 ** (sky.countSlope * (sky.brightestMagnitude - sky.faintestMagnitude));
  const stars: SkyStar[] = [];
  for (let i = 0; i < count; i++) {
    const x = (random() - 0.5) * width * 60;
    const y = (random() - 0.5) * height * 60;
    // Cumulative counts grow as 10^(slope m) between the limits.
    const share = range + random() * (1 - range);
    const magnitude = sky.faintestMagnitude + Math.log10(share) / sky.countSlope;
    const drawn = sky.medianTemperatureK * 10 ** (sky.temperatureScatterDex * normal(random));
    const [coolest, hottest] = sky.temperatureLimitsK;
    stars.push({ x, y, magnitude, temperatureK: Math.min(hottest, Math.max(coolest, drawn)) });
  }
  stars.sort((a, b) => a.magnitude - b.magnitude);
  const fixed = sky.stars.map((star) => ({
    x: star.xArcsec,
    y: star.yArcsec,
    magnitude: star.magnitude,
    temperatureK: star.temperatureK,
  }));
  return [...fixed, ...separated(stars, sky.minimumSeparationArcsec)];
}

/** Leaves out every star closer than `separation` to a brighter one that stays. */
function separated(stars: SkyStar[], separation: number): SkyStar[] {
  if (separation <= 0) return stars;
  const cells = new Map<string, SkyStar[]>();
  const cellOf = (value: number) => Math.floor(value / separation);
  return stars.filter((star) => {
    const column = cellOf(star.x);
    const row = cellOf(star.y);
    for (let dy = -1; dy <= 1; dy++)
      for (let dx = -1; dx <= 1; dx++)
        for (const other of cells.get(`${column + dx},${row + dy}`) ?? [])
          if ((other.x - star.x) ** 2 + (other.y - star.y) ** 2 < separation * separation)
            return false;
    const key = `${column},${row}`;
    const cell = cells.get(key);
    if (cell) cell.push(star);
    else cells.set(key, [star]);
    return true;
  });
}

/** An inclined exponential disk as equal points in a sunflower pattern. */
function galaxyPoints(galaxy: Scene['sky']['galaxies'][number]): SkyStar[] {
  const points: SkyStar[] = [];
  const magnitude = galaxy.magnitude + 2.5 * Math.log10(GALAXY_POINTS);
  const angle = (galaxy.angleDeg * Math.PI) / 180;
  for (let i = 0; i < GALAXY_POINTS; i++) {
    const radius = galaxy.scaleArcsec * diskRadius((GALAXY_LIGHT * (i + 0.5)) / GALAXY_POINTS);
    const along = radius * Math.cos(i * GOLDEN_ANGLE);
    const across = radius * Math.sin(i * GOLDEN_ANGLE) * galaxy.axisRatio;
    points.push({
      x: galaxy.xArcsec + along * Math.cos(angle) - across * Math.sin(angle),
      y: galaxy.yArcsec + along * Math.sin(angle) + across * Math.cos(angle),
      magnitude,
      temperatureK: galaxy.temperatureK,
    });
  }
  return points;
}

/** Radius in scale lengths that holds a share of an exponential disk: 1 − (1 + r) e^(−r) = share, by bisection. */
function diskRadius(share: number): number {
  let low = 0;
  let high = 30;
  for (let i = 0; i < 50; i++) {
    const middle = (low + high) / 2;
    if (1 - (1 + middle) * Math.exp(-middle) < share) low = middle;
    else high = middle;
  }
  return (low + high) / 2;
}
