/** What a frame says about itself beside its stars: light in every channel, noise against photons, the sky's part in the linearity verdict. */
import type { Frame } from '../frame/frame.js';
import type { EffectiveProfiles } from './effective-profiles.js';
import type { Found } from './find.js';
import type { LinearityInput } from './linearity.js';

/** Summed star light of a channel in σ that counts as light. */
const LIGHT_SIGMA = 10;

/** True when the profile stars together shine in channel `c`. */
function hasLight(effective: EffectiveProfiles, c: number): boolean {
  const profile = effective.profiles[c];
  if (!profile) return false;
  let top = 0;
  let bottom = 0;
  for (let k = 0; k < effective.stars.length; k++) {
    const error = profile.fluxError[k] as number;
    if (!(error > 0)) continue;
    // The weight of the reference channel's brightness: a sum over noise alone stays near zero.
    top += (profile.flux[k] as number) / error;
    bottom += 1;
  }
  return bottom > 0 && top / Math.sqrt(bottom) > LIGHT_SIGMA;
}

/** Which channels hold star light. */
export function litChannels(effective: EffectiveProfiles): boolean[] {
  return effective.profiles.map((_, c) => hasLight(effective, c));
}

/** What the sky says about linearity: how far down it reaches, and its noise against its level. */
export function skyEvidence(
  found: Found,
  lattices: readonly number[],
): Pick<LinearityInput, 'lowestSampleSigma' | 'cellLevel' | 'cellNoise'> {
  const { mesh } = found;
  const l = lattices[0] as number;
  const cells = mesh.cellsX * mesh.cellsY;
  return {
    // Of all lattices: the darkest one may have set the minimum, so the comparison is with its level.
    lowestSampleSigma: Math.max(
      ...Array.from(
        mesh.medianLevel,
        (level, i) => (level - mesh.minimum) / (mesh.medianNoise[i] as number),
      ).filter((value) => Number.isFinite(value)),
      0,
    ),
    cellLevel: mesh.level.subarray(l * cells, (l + 1) * cells),
    cellNoise: mesh.noise.subarray(l * cells, (l + 1) * cells),
  };
}

/** Share of the photon noise below which measured noise contradicts the gain. */
const PHOTON_NOISE_SHARE = 0.8;

/** Checks the noise against the photons of the sky where gain and pedestal are known (docs/algorithms.md). */
export function checkPhotonNoise(
  frame: Frame,
  found: Found,
  warn: (code: string, message: string) => void,
): void {
  const { gainElectronsPerAdu: gain, pedestalAdu: pedestal } = frame.metadata;
  if (gain === null || pedestal === null || !(gain > 0)) return;
  const { medianLevel, medianNoise } = found.mesh;
  for (let l = 0; l < medianLevel.length; l++) {
    const light = (medianLevel[l] as number) - pedestal;
    if (!(light > 0)) continue;
    const photon = Math.sqrt(light / gain);
    const share = (medianNoise[l] as number) / photon;
    if (share < PHOTON_NOISE_SHARE) {
      warn(
        'noise-below-photons',
        `the sky noise is ${(100 * share).toFixed(0)} % of what its photons alone would make at ${gain} e−/ADU: the gain is wrong (--gain), or the frame was averaged or smoothed`,
      );
      return;
    }
  }
}
