/** Copies what was measured of every source into the published catalogue. */
import type { StarCatalogue } from '../catalogue/catalogue.js';
import type { ChannelPlan } from '../detect/lattice.js';
import type { Stamps } from '../detect/stamps.js';
import { createRecordedFwhmTable } from '../optics/pixel.js';
import type { Found } from './find.js';
import { recordedAxes, recordedEllipticity } from './fit-summary.js';
import { adaptiveMoments, M3X, M3Y, MOMENTS, MX, MXX, MY } from './moments.js';
import { createSampleList, gatherSamples } from './samples.js';
import { type FitColumns, noiseSnr } from './sources.js';

/** Fills `catalogue`, whose rows are the sources in detection order. */
export function fillCatalogue(
  catalogue: StarCatalogue,
  plan: ChannelPlan,
  found: Found,
  betas: readonly number[],
): void {
  const { sources, core, stampOf } = found;
  const { columns } = catalogue;
  const reference = sources.fits[plan.reference] as FitColumns;
  const column = (name: string): Float64Array => columns[name] as Float64Array;
  column('x').set(sources.x);
  column('y').set(sources.y);
  column('x_err').set(reference.xError);
  column('y_err').set(reference.yError);
  const lattices = plan.lattices.length;
  const samples = createSampleList(core.side * core.side * core.planes);
  const moments = new Float64Array(MOMENTS);
  const snr = column('snr');
  for (let i = 0; i < sources.n; i++) {
    catalogue.flags[i] = sources.flags[i] as number;
    snr[i] = noiseSnr(reference, i);
  }
  for (let c = 0; c < plan.channels.length; c++) {
    const name = plan.channels[c] as 'R' | 'G' | 'B' | 'L';
    if (!catalogue.channels.includes(name)) continue;
    const fits = sources.fits[c] as FitColumns;
    const beta = betas[c] as number;
    const recorded = createRecordedFwhmTable(beta);
    const members = plan.ofChannel[c] as number[];
    column(`flux_${name}`).set(sources.flux[c] as Float64Array);
    column(`flux_err_${name}`).set(sources.fluxError[c] as Float64Array);
    const backgroundColumn = column(`background_${name}`);
    const peakColumn = column(`peak_${name}`);
    const fwhmColumn = column(`fwhm_${name}`);
    const fwhmErrorColumn = column(`fwhm_err_${name}`);
    const e1Column = column(`e1_${name}`);
    const e2Column = column(`e2_${name}`);
    const dxColumn = column(`dx_${name}`);
    const dyColumn = column(`dy_${name}`);
    const hfdColumn = column(`hfd_${name}`);
    const m3xColumn = column(`m3x_${name}`);
    const m3yColumn = column(`m3y_${name}`);
    for (let i = 0; i < sources.n; i++) {
      const stamp = stampOf[i] as number;
      if (stamp >= 0) {
        const mesh =
          members.reduce((sum, l) => sum + (core.background[stamp * lattices + l] as number), 0) /
          members.length;
        const local = fits.background[i] as number;
        const background = mesh + (local === local ? local : 0);
        backgroundColumn[i] = background;
        peakColumn[i] = (sources.peak[i * plan.channels.length + c] as number) - background;
      }
      const alpha = fits.alpha[i] as number;
      if (alpha !== alpha) continue;
      const [a, b] = recordedAxes(fits, i, beta, recorded);
      const fwhm = Math.sqrt(a * b);
      fwhmColumn[i] = fwhm;
      fwhmErrorColumn[i] = fwhm * (fits.lnAlphaError[i] as number);
      const [e1, e2] = recordedEllipticity(fits, i, beta, recorded);
      e1Column[i] = e1;
      e2Column[i] = e2;
      dxColumn[i] = (fits.x[i] as number) - (reference.x[i] as number);
      dyColumn[i] = (fits.y[i] as number) - (reference.y[i] as number);
      if (stamp >= 0 && plan.bin === 1 && sources.flags[i] === 0) {
        hfdColumn[i] = halfFluxDiameter(core, stamp, c, fits, i, HFD_APERTURE * fwhm);
      }
      // Third moments are a matter of shape: the reference channel's speak for the star.
      if (stamp < 0 || c !== plan.reference || sources.flags[i] !== 0) continue;
      const x = (fits.x[i] as number) - (core.cx[stamp] as number);
      const y = (fits.y[i] as number) - (core.cy[stamp] as number);
      gatherSamples(core, stamp, plan, c, x, y, 0, found.fitRadiusPx, samples);
      const local = fits.background[i] as number;
      for (let s = 0; s < samples.n; s++) {
        samples.value[s] = (samples.value[s] as number) - local;
      }
      moments[MX] = x;
      moments[MY] = y;
      moments[MXX] = (fwhm / 2.3548) ** 2;
      if (adaptiveMoments(samples, moments, found.fitRadiusPx)) {
        m3xColumn[i] = moments[M3X] as number;
        m3yColumn[i] = moments[M3Y] as number;
      }
    }
  }
}

/** Aperture of a single star's curve of growth, in FWHM. */
const HFD_APERTURE = 2;
/** Each pixel is cut into this many parts a side, so that a pixel on the aperture's rim counts with its share. */
const PARTS = 5;
const RADIAL_STEP = 0.1;

/**
 * Half-flux diameter of one star on a full pixel grid: twice the radius that holds half the flux of the curve of growth within the aperture.
 * Not defined on the sites of a mosaic, which leave gaps. NaN when the aperture leaves the stamp or holds no positive flux.
 */
function halfFluxDiameter(
  stamps: Stamps,
  stamp: number,
  plane: number,
  fits: FitColumns,
  i: number,
  aperture: number,
): number {
  const { radius, side, planes, data } = stamps;
  const x = (fits.x[i] as number) - (stamps.cx[stamp] as number);
  const y = (fits.y[i] as number) - (stamps.cy[stamp] as number);
  const local = fits.background[i] as number;
  if (Math.max(Math.abs(x), Math.abs(y)) + aperture > radius) return Number.NaN;
  const growth = new Float64Array(Math.ceil(aperture / RADIAL_STEP) + 1);
  const base = (stamp * planes + Math.min(plane, planes - 1)) * side * side;
  for (let py = Math.floor(y - aperture); py <= Math.ceil(y + aperture); py++) {
    for (let px = Math.floor(x - aperture); px <= Math.ceil(x + aperture); px++) {
      if (Math.abs(px) > radius || Math.abs(py) > radius) continue;
      const value = data[base + (py + radius) * side + px + radius] as number;
      if (value !== value) return Number.NaN;
      const share = (value - local) / (PARTS * PARTS);
      for (let v = 0; v < PARTS; v++) {
        const dy = py - 0.5 + (v + 0.5) / PARTS - y;
        for (let u = 0; u < PARTS; u++) {
          const dx = px - 0.5 + (u + 0.5) / PARTS - x;
          const r = Math.sqrt(dx * dx + dy * dy);
          if (r >= aperture) continue;
          const bin = (r / RADIAL_STEP) | 0;
          growth[bin] = (growth[bin] as number) + share;
        }
      }
    }
  }
  let total = 0;
  for (const value of growth) total += value;
  if (!(total > 0)) return Number.NaN;
  let sum = 0;
  for (let bin = 0; bin < growth.length; bin++) {
    const next = sum + (growth[bin] as number);
    if (next >= 0.5 * total) {
      return 2 * RADIAL_STEP * (bin + (0.5 * total - sum) / (next - sum));
    }
    sum = next;
  }
  return Number.NaN;
}
