/** The plain sentence: what the numbers of a frame mean for somebody who has never seen them. */
import type { ChannelName, FrameResult, HaloResult, Uncertain } from './result.js';
import { halfWidth } from './uncertain.js';

/** Rounds to the first two digits of the error, at most one decimal. */
function points(value: Uncertain): string {
  const digits = Math.max(
    0,
    Math.min(1, -Math.floor(Math.log10(Math.max(1e-6, halfWidth(value))))),
  );
  return value.value.toFixed(digits);
}

const HALO_WORDS: Record<Exclude<HaloResult['level'], 'cannot tell' | 'none seen'>, string> = {
  trace: 'a trace of a blue rim, visible in numbers, hardly in the picture',
  plain: 'a plain blue rim, seen round bright stars once the picture is stretched',
  strong: 'a strong blue rim that marks every bright star',
  dominant: 'a blue halo that dominates bright stars',
};

/** Sentence for a colour frame with a halo measurement. */
function haloSentence(halo: HaloResult): string {
  const over = halo.blueMinusRed.overPerfectLensPercent;
  const excess = halo.blueMinusRed.excessPercent;
  const shown = over ?? excess;
  if (halo.level === 'cannot tell') {
    return `The stars of this frame do not tell whether there is a blue rim: the blue excess is ${points(shown)} points with an uncertainty of ${halfWidth(shown).toFixed(0)}.`;
  }
  if (halo.level === 'none seen') {
    const limit = Math.max(0, shown.value) + 2 * halfWidth(shown);
    return `No blue rim is seen: beyond what a perfect lens shows, less than ${limit.toFixed(limit < 3 ? 1 : 0)} per cent more of the blue light than of the red falls outside the green star.`;
  }
  const purple =
    (halo.redMinusGreen.overPerfectLensPercent ?? halo.redMinusGreen.excessPercent).value > 5
      ? ' Red is spread as well, so the rim looks purple.'
      : '';
  const core =
    halo.coreTintMag && halo.coreTintMag.value > 0.1 ? ' The core is left yellowish.' : '';
  const perfect =
    halo.blueMinusRed.perfectLensPercent === null
      ? ''
      : `; with a perfect lens it would be ${halo.blueMinusRed.perfectLensPercent.toFixed(0).replace('-0', '0').replace('-', '−')} per cent`;
  return `This frame shows ${HALO_WORDS[halo.level]}. ${points(excess)} per cent more of the blue light than of the red falls outside the green star${perfect}.${purple}${core}`;
}

/** Composes the sentence of a frame from what was measured. */
export function plainSentence(input: {
  used: number;
  found: number;
  halo: HaloResult | null;
  linearity: FrameResult['linearity'];
  channel: ChannelName;
  fwhmPx: Uncertain | null;
  fwhmArcsec: Uncertain | null;
  ellipticity: Uncertain | null;
  rejected: Record<string, number>;
  colour: boolean;
  /** A colour without star light. */
  dark: boolean;
  haloWithheld: boolean;
  /** The colours were exposed one after another: air and focus may differ between them. */
  oneAfterAnother?: boolean;
  /** Stars narrower than the grid can show. */
  undersampled?: boolean;
}): string {
  if (input.used === 0) {
    const most = Object.entries(input.rejected).sort((a, b) => b[1] - a[1])[0];
    if (!most) return 'No stars were found in this frame.';
    return `No usable star in this frame: ${input.found} spots were found, most of them labelled “${most[0]}”.`;
  }
  const size = input.fwhmArcsec
    ? `${input.fwhmArcsec.value.toFixed(1)} arcsec`
    : input.fwhmPx
      ? `${input.fwhmPx.value.toFixed(1)} px`
      : null;
  const parts: string[] = [];
  if (input.halo && input.undersampled === true) {
    parts.push(
      'The stars are narrower than the pixels can show: whether there is a blue rim cannot be told.',
    );
  } else if (input.halo) {
    parts.push(haloSentence(input.halo));
    if (input.oneAfterAnother === true) {
      parts.push(
        'The colours were exposed one after another: this is the lens only if air and focus stayed the same.',
      );
    }
  } else if (input.haloWithheld) {
    parts.push(
      `${
        input.linearity?.verdict === 'stretched'
          ? 'The picture has been stretched'
          : 'Pictures of this file type have nearly always been stretched or sharpened'
      }, which changes how light spreads round bright stars: no halo is given. Measure the unprocessed frame.`,
    );
  } else if (input.dark) {
    parts.push('One colour holds no star light: the colours cannot be compared.');
  } else if (input.colour) parts.push('Too few stars to measure a blue rim.');
  if (size) {
    parts.push(
      `Stars are ${size} wide${input.colour ? ' in green' : ''}${
        input.ellipticity && input.ellipticity.low > 0.1 ? ' and clearly elongated' : ''
      }.`,
    );
  } else {
    parts.push(`${input.used} usable star${input.used === 1 ? '' : 's'}: too few for a size.`);
  }
  return parts.join(' ');
}

/**
 * The warning that belongs to halo numbers of data that is not linear, or of a file type that is nearly always processed.
 * @param isStretched the pixels themselves say so
 */
export function haloCaution(withheld: boolean, isStretched: boolean): string {
  const data = isStretched
    ? 'data that is not linear'
    : 'a picture of a file type that is nearly always stretched or sharpened';
  return withheld
    ? `halo numbers are withheld: they would come from ${data}; --halo-anyway shows them all the same`
    : `halo numbers come from ${data}: they describe the picture, not the lens`;
}
