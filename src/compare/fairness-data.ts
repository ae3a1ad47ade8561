/** Fairness of the recorded data: stretched or linear, mosaic or interpolated, calibrated or not. */
import type { FairnessFacts, SharedFacts } from './fairness-facts.js';
import { CORRELATED, fairnessItem, labelsWith } from './fairness-item.js';
import type { FairnessItem } from './result.js';
import { decimal, listOf } from './words.js';

/** Hot pixels in a million: a frame without dark subtraction has tens to thousands. */
const MANY_HOT = 30;

/** What is said of a stretched picture: of the rows that it spoils, and of those that it only distorts. */
export function linearityItems(
  facts: readonly FairnessFacts[],
  { processedAnyway }: SharedFacts,
): FairnessItem[] {
  const value = ({ linearity, probablyProcessed }: FairnessFacts): string | null =>
    linearity === 'stretched'
      ? 'stretched'
      : probablyProcessed
        ? 'a kind of file that is nearly always stretched'
        : linearity === 'linear'
          ? 'linear'
          : null;
  const stretched = labelsWith(
    facts,
    ({ linearity, probablyProcessed }) => linearity === 'stretched' || probablyProcessed,
  );
  if (stretched.length > 0) {
    const [is, picture] =
      stretched.length === 1 ? ['is a picture', 'it'] : ['are pictures', 'they'];
    return [
      fairnessItem(
        'linearity',
        facts,
        value,
        'not correctable',
        processedAnyway ? 'weakens' : 'forbids',
        ['size', 'colour', 'light', 'depth'],
        `${listOf(stretched)} ${is} that ${stretched.length === 1 ? 'was' : 'were'} stretched or sharpened, or of a kind that nearly always is: how wide stars look, and how their light is shared, is then the program’s work and not the lens’s; compare the unprocessed frames.`,
      ),
      fairnessItem(
        'linearity of shapes',
        facts,
        value,
        'not correctable',
        'weakens',
        ['shape', 'field'],
        `Roundness and growth towards the corners survive stretching roughly, but ${picture} may also have been sharpened.`,
      ),
    ];
  }
  const open = labelsWith(facts, ({ linearity }) => linearity !== 'linear');
  return [
    open.length === 0
      ? fairnessItem(
          'linearity',
          facts,
          value,
          'equal',
          'none',
          [],
          'Bright and faint stars have the same size: none of the frames was stretched.',
        )
      : fairnessItem(
          'linearity',
          facts,
          value,
          'unknown',
          'weakens',
          ['size', 'colour'],
          `Whether ${listOf(open)} ${open.length === 1 ? 'was' : 'were'} stretched cannot be told from the stars: trust sizes and halos only if the frames are unprocessed.`,
        ),
  ];
}

export function mosaicItem(facts: readonly FairnessFacts[]): FairnessItem {
  const value = ({ layout, noiseCorrelation }: FairnessFacts): string | null => {
    const words = {
      mono: 'one channel',
      cfa: 'colour mosaic as recorded',
      rgb: 'three full colour planes',
    };
    return `${words[layout]}${noiseCorrelation >= CORRELATED ? ', neighbouring samples share their noise' : ''}`;
  };
  const smooth = labelsWith(facts, ({ noiseCorrelation }) => noiseCorrelation >= CORRELATED);
  const planes = labelsWith(facts, ({ layout }) => layout === 'rgb');
  const same = new Set(facts.map(({ layout }) => layout)).size === 1;
  if (same && smooth.length === 0) {
    return fairnessItem(
      'mosaic or interpolated',
      facts,
      value,
      'equal',
      'none',
      [],
      planes.length > 0
        ? 'All frames come as full colour planes; if these were interpolated, they were in all, and sizes are upper limits.'
        : 'Every colour is measured on the samples that recorded it, nothing is interpolated.',
    );
  }
  if (smooth.length > 0 || planes.length > 0) {
    const names = [...new Set([...smooth, ...planes])];
    const all = names.length === facts.length && same;
    return fairnessItem(
      'mosaic or interpolated',
      facts,
      value,
      'not correctable',
      'weakens',
      ['size', 'colour', 'light', 'depth'],
      all
        ? 'The frames look interpolated or stacked: that widens stars and evens out noise, not necessarily by as much in all.'
        : `${listOf(names)} ${names.length === 1 ? 'looks' : 'look'} interpolated or stacked, the rest ${names.length === facts.length ? 'in another way' : 'not'}: interpolation widens narrow stars by a third and wide ones by a few per cent, mixes the colours and hides noise.`,
    );
  }
  return fairnessItem(
    'mosaic or interpolated',
    facts,
    value,
    'corrected for',
    'none',
    [],
    'Every colour is measured on the samples that recorded it, in each camera’s own way.',
  );
}

export function calibrationItem(facts: readonly FairnessFacts[]): FairnessItem {
  const hot = (one: FairnessFacts): boolean => one.hotPerMillion >= MANY_HOT;
  const names = labelsWith(facts, hot);
  const others = labelsWith(facts, (one) => !hot(one));
  const differs = names.length > 0 && names.length < facts.length;
  return fairnessItem(
    'calibration',
    facts,
    (one) =>
      Number.isNaN(one.hotPerMillion)
        ? null
        : `${decimal(one.hotPerMillion, 0)} hot pixels in a million${hot(one) ? ': no dark frame seems to be taken off' : ''}`,
    differs ? 'not correctable' : 'unknown',
    differs ? 'weakens' : 'none',
    differs ? ['depth'] : [],
    differs
      ? `${listOf(names)} ${names.length === 1 ? 'shows' : 'show'} many hot pixels, ${listOf(others)} ${others.length === 1 ? 'does' : 'do'} not: they are left out of the measurement, but weaker ones hide faint stars.`
      : 'Hot pixels are left out of the measurement; whether flats were applied matters only for light in the corners and is judged there.',
  );
}
