/** Runs the single-star fit over sources and files the results in columns. */
import type { ChannelPlan } from '../detect/lattice.js';
import type { Stamps } from '../detect/stamps.js';
import { createFitScratch, type FitSettings, fitQuality, fitStar } from './moffat-fit.js';
import { alphaOfFwhm, PBACKGROUND, PFLUX, PG1, PG2, PLNALPHA, PX, PY } from './moffat-model.js';
import { createSampleList, gatherSamples } from './samples.js';
import type { FitColumns, Sources } from './sources.js';

export interface FitPlan {
  channel: number;
  beta: number;
  /** FWHM (before the pixel) to start from, px. */
  startFwhmPx: number;
  /** Samples within this radius of the position enter. */
  radiusPx: number;
  noisePerSignal: number;
  /** Error of the model as a share of the star's highest sample. */
  modelError: number;
}

/** Model error of the quality check: real stars differ from a Moffat by some per cent of their peak. */
const QUALITY_MODEL_ERROR = 0.06;

/**
 * Fits `channel` of the listed sources. The stamp of source `i` is `stampOf[i]` (−1 = none).
 * Failed fits leave NaN in every column of that source.
 */
export function fitSources(
  stamps: Stamps,
  stampOf: Int32Array,
  plan: ChannelPlan,
  sources: Sources,
  list: ArrayLike<number>,
  fit: FitPlan,
  out: FitColumns,
): void {
  const capacity = stamps.side * stamps.side * stamps.planes;
  const samples = createSampleList(capacity);
  const scratch = createFitScratch(capacity);
  const p = new Float64Array(7);
  const errors = new Float64Array(7);
  const lattices = plan.lattices.length;
  const skyVariance = new Float64Array(lattices);
  const settings: FitSettings = {
    beta: fit.beta,
    skyVariance,
    noisePerSignal: fit.noisePerSignal,
    modelSigma: 0,
    // One node is a third wrong on the steep wing of a star of 1.6 px, so narrow stars are integrated to 4 px.
    integrateWithinPx: Math.max(4, 1.3 * fit.startFwhmPx),
  };
  const sites = plan.bin === 2 ? (plan.ofChannel[fit.channel] as number[]).length / 4 : 1;
  for (let k = 0; k < list.length; k++) {
    const i = list[k] as number;
    const stamp = stampOf[i] as number;
    if (stamp < 0) continue;
    const x = (sources.x[i] as number) - (stamps.cx[stamp] as number);
    const y = (sources.y[i] as number) - (stamps.cy[stamp] as number);
    gatherSamples(stamps, stamp, plan, fit.channel, x, y, 0, fit.radiusPx, samples);
    for (let l = 0; l < lattices; l++) {
      const sigma = stamps.noise[stamp * lattices + l] as number;
      skyVariance[l] = Math.max(1e-12, sigma * sigma);
    }
    let sum = 0;
    let peak = 0;
    const near = (0.8 * fit.startFwhmPx + 0.7) ** 2;
    for (let s = 0; s < samples.n; s++) {
      const dx = (samples.dx[s] as number) - x;
      const dy = (samples.dy[s] as number) - y;
      if (dx * dx + dy * dy < near) {
        sum += samples.value[s] as number;
        peak = Math.max(peak, samples.value[s] as number);
      }
    }
    p[PX] = x;
    p[PY] = y;
    p[PFLUX] = Math.max(sum / sites, 1e-6);
    p[PBACKGROUND] = 0;
    p[PLNALPHA] = Math.log(alphaOfFwhm(fit.startFwhmPx, fit.beta));
    p[PG1] = 0;
    p[PG2] = 0;
    settings.modelSigma = fit.modelError * peak;
    const chi2 = fitStar(samples, p, settings, scratch, errors);
    const wander = Math.abs((p[PX] as number) - x) + Math.abs((p[PY] as number) - y);
    const good =
      chi2 === chi2 && (p[PFLUX] as number) > 0 && wander < Math.max(2, 0.8 * fit.radiusPx);
    if (!good) continue;
    out.x[i] = (p[PX] as number) + (stamps.cx[stamp] as number);
    out.y[i] = (p[PY] as number) + (stamps.cy[stamp] as number);
    out.xError[i] = errors[PX] as number;
    out.yError[i] = errors[PY] as number;
    out.flux[i] = p[PFLUX] as number;
    out.fluxError[i] = errors[PFLUX] as number;
    out.background[i] = p[PBACKGROUND] as number;
    out.alpha[i] = Math.exp(p[PLNALPHA] as number);
    out.lnAlphaError[i] = errors[PLNALPHA] as number;
    out.g1[i] = p[PG1] as number;
    out.g2[i] = p[PG2] as number;
    out.gError[i] = Math.sqrt(0.5 * ((errors[PG1] as number) ** 2 + (errors[PG2] as number) ** 2));
    out.reducedChi2[i] = chi2;
    out.quality[i] = fitQuality(samples, p, settings, QUALITY_MODEL_ERROR * peak, scratch);
  }
}
