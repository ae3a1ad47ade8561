/** Copies what was measured of every source into the published catalogue. */
import type { StarCatalogue } from '../catalogue/catalogue.js';
import type { ChannelPlan } from '../detect/lattice.js';
import { createRecordedFwhmTable } from '../optics/pixel.js';
import type { Found } from './find.js';
import { recordedAxes, recordedEllipticity } from './fit-summary.js';
import { adaptiveMoments, M3X, M3Y, MOMENTS, MX, MXX, MY } from './moments.js';
import { createSampleList, gatherSamples } from './samples.js';
import type { FitColumns } from './sources.js';

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
  for (let i = 0; i < sources.n; i++) {
    catalogue.flags[i] = sources.flags[i] as number;
    column('snr')[i] = (reference.flux[i] as number) / (reference.fluxError[i] as number);
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
    for (let i = 0; i < sources.n; i++) {
      const stamp = stampOf[i] as number;
      if (stamp >= 0) {
        const mesh =
          members.reduce((sum, l) => sum + (core.background[stamp * lattices + l] as number), 0) /
          members.length;
        const local = fits.background[i] as number;
        const background = mesh + (local === local ? local : 0);
        column(`background_${name}`)[i] = background;
        column(`peak_${name}`)[i] =
          (sources.peak[i * plan.channels.length + c] as number) - background;
      }
      const alpha = fits.alpha[i] as number;
      if (alpha !== alpha) continue;
      const [a, b] = recordedAxes(fits, i, beta, recorded);
      const fwhm = Math.sqrt(a * b);
      column(`fwhm_${name}`)[i] = fwhm;
      column(`fwhm_err_${name}`)[i] = fwhm * (fits.lnAlphaError[i] as number);
      const [e1, e2] = recordedEllipticity(fits, i, beta, recorded);
      column(`e1_${name}`)[i] = e1;
      column(`e2_${name}`)[i] = e2;
      column(`dx_${name}`)[i] = (fits.x[i] as number) - (reference.x[i] as number);
      column(`dy_${name}`)[i] = (fits.y[i] as number) - (reference.y[i] as number);
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
        column(`m3x_${name}`)[i] = moments[M3X] as number;
        column(`m3y_${name}`)[i] = moments[M3Y] as number;
      }
    }
  }
}
