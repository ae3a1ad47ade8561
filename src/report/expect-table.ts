/** What `expect` says as text: the optics, the lenses side by side, a sentence for each, and what would help. */
import type { ExpectedRange } from '../optics/expected-halo.js';
import type { EquivalentDefocus } from '../optics/lens-expectation.js';
import type { LensOutlook, OutlookBand } from '../optics/lens-outlook.js';
import { escapeControls } from './escape.js';
import { columnsText, fact, type TextStyle, wrap } from './layout.js';
import { fixed, nominal, signed, significant } from './number.js';
import { focalShareWords } from './words.js';

const FACT_INDENT = 16;
const BANDS = [
  ['R', 'red'],
  ['G', 'green'],
  ['B', 'blue'],
] as const;
const KIND_NAMES: Readonly<Record<string, string>> = { ed: 'ED doublet' };
const nameOf = ({ lens, basis }: LensOutlook): string =>
  `${escapeControls(KIND_NAMES[lens] ?? lens)}${basis === 'assumed factor' ? ' *' : ''}`;

/** The whole report, with a closing line break. @param outlooks at least one, of one aperture and focal length */
export function expectText(
  outlooks: readonly LensOutlook[],
  width: number,
  style: TextStyle,
): string {
  const [first] = outlooks;
  if (first === undefined) return '';
  const { apertureMm, focalLengthMm, focalRatio } = first;
  const parts = [
    style.strong(
      `${nominal(apertureMm)} mm, f/${nominal(focalRatio)}, focal length ${nominal(focalLengthMm, 4)} mm`,
    ),
    opticsFacts(first, width),
    lensTable(outlooks, width, style),
    ...outlooks.map((each) => lensWords(each, width, style)),
  ];
  return `${parts.join('\n\n')}\n`;
}

function opticsFacts(first: LensOutlook, width: number): string {
  const { halo } = first;
  const depth = BANDS.map(
    ([band, name]) => `±${significant(bandOf(first, band).depthOfFocusUm)} µm in ${name}`,
  ).join(', ');
  const limits = first.classicalLimits
    .map(({ name, ratio, source }) => `${ratio} (${name}: ${source})`)
    .join(' and ');
  const seeing = halo.seeingAssumed
    ? `seeing of ${halo.seeingArcsec.low} to ${halo.seeingArcsec.high}″ assumed`
    : `seeing ${nominal(halo.seeingArcsec.value)}″`;
  const px = (arcsec: number, pixels: number | null): string =>
    `${significant(arcsec)}″${pixels === null ? '' : ` (${significant(pixels)} px)`}`;
  return [
    fact(
      'diffraction',
      `green stars at least ${significant(first.airyFwhmArcsec)}″ = ${significant(first.airyFwhmUm)} µm wide at half brightness; ` +
        `first dark ring at ${significant(first.airyRadiusArcsec)}″ = ${significant(first.airyRadiusUm)} µm, ${fixed(100 * first.airyShare, 1)} % of the light inside`,
      FACT_INDENT,
      width,
    ),
    fact('depth of focus', `${depth} (2 λN²)`, FACT_INDENT, width),
    fact(
      'ratio',
      `${significant(first.apertureSpeedRatio)}: focal ratio over aperture in inches. Classical rules call an achromat’s colour harmless from ${limits}, both from memory`,
      FACT_INDENT,
      width,
    ),
    fact(
      'on pictures',
      `${seeing}${halo.pixelIncluded ? '' : ', pixels left out'}: green stars ${px(halo.greenFwhmArcsec, halo.greenFwhmPx)} wide at half brightness through the ${nameOf(first).replace(' *', '')}; ` +
        `light is counted within ${px(halo.normalisedWithinArcsec, halo.normalisedWithinPx)} of a star’s centre`,
      FACT_INDENT,
      width,
    ),
  ].join('\n');
}

function bandOf({ secondarySpectrum }: LensOutlook, band: OutlookBand['band']): OutlookBand {
  return secondarySpectrum.find((each) => each.band === band) as OutlookBand;
}

/** `31 (24 to 38)`, whole per cents. */
function rangeText({ value, low, high }: ExpectedRange): string {
  const at = (v: number): string => signed(fixed(v, 0));
  return low === high ? at(value) : `${at(value)} (${at(low)} to ${at(high)})`;
}

function defocusText({ um, focalLengthFraction, depthsOfFocus }: EquivalentDefocus): string {
  return um > 0
    ? `${significant(um)} (${focalShareWords(focalLengthFraction)}, ${significant(depthsOfFocus, 2)} d)`
    : 'none';
}

function lensTable(outlooks: readonly LensOutlook[], width: number, style: TextStyle): string {
  const rows: [name: string, cell: (outlook: LensOutlook) => string][] = [
    ...(['B', 'R'] as const).map((band): [string, (outlook: LensOutlook) => string] => [
      `focus ${band === 'B' ? 'blue' : 'red'} − green, µm`,
      (each) => signed(significant(bandOf(each, band).focusShiftUm)),
    ]),
    ...BANDS.map(([band, name]): [string, (outlook: LensOutlook) => string] => [
      `blur of ${name}, µm`,
      (each) => blurText(bandOf(each, band)),
    ]),
    ['blue defocus, µm', (each) => defocusText(each.blueDefocus)],
    ['red defocus, µm', (each) => defocusText(each.redDefocus)],
    ['colour at the eyepiece', ({ expectedColour }) => expectedColour],
    ['halo blue − red, %', ({ halo }) => rangeText(halo.blueMinusRed.excessPercent)],
    ['  over perfect lens', ({ halo }) => rangeText(halo.blueMinusRed.overPerfectLensPercent)],
    ['halo blue − green, %', ({ halo }) => rangeText(halo.blueMinusGreen.excessPercent)],
    ['halo red − green, %', ({ halo }) => rangeText(halo.redMinusGreen.excessPercent)],
    ['halo in a word', ({ halo }) => halo.level],
    [
      '  its range',
      ({
        halo: {
          levelRange: [low, high],
        },
      }) => (low === high ? low : `${low} to ${high}`),
    ],
  ];
  const table = columnsText(
    [
      { head: '', cells: rows.map(([name]) => name) },
      ...outlooks.map((each) => ({
        head: nameOf(each),
        cells: rows.map(([, cell]) => cell(each)),
      })),
    ],
    width,
    style,
  );
  const [first] = outlooks as [LensOutlook];
  const px = bandOf(first, 'B').blurPx === null ? '' : ', px';
  const assumed = outlooks.some(({ basis }) => basis === 'assumed factor')
    ? ' * A tenth (ED) and 3 % (apochromat) of the achromat’s colour error are assumed; designs differ by a factor of two either way.'
    : '';
  const legend =
    `Blur: disc that green in best focus leaves to the colour, in brackets ″, radii of the dark ring${px}. ` +
    'Defocus: of green, that would blur it as much; d: halves of the depth of focus, up to 1 diffraction hides it. ' +
    'Halo: share of a star’s light outside r80 of green, first colour minus second, as `measure` gives it; ' +
    `in brackets the range left open by ${rangeWords(outlooks)}.${assumed}`;
  return `${table}\n${style.faint(wrap(legend, width))}`;
}

function rangeWords(outlooks: readonly LensOutlook[]): string {
  const all = new Set(outlooks.flatMap(({ halo }) => halo.rangeFrom));
  return [...all].join('; ');
}

function blurText({ blurUm, blurArcsec, blurAiryRadii, blurPx }: OutlookBand): string {
  const more = [`${significant(blurArcsec, 2)}″`, significant(blurAiryRadii, 2)];
  if (blurPx !== null) more.push(significant(blurPx, 2));
  return `${significant(blurUm, 2)} (${more.join(', ')})`;
}

function lensWords(outlook: LensOutlook, width: number, style: TextStyle): string {
  const { halo } = outlook;
  const lines = [style.strong(wrap(escapeControls(outlook.sentence), width))];
  const now = signed(fixed(halo.blueMinusRed.excessPercent.value, 0));
  const nowArcsec = significant(bandOf(outlook, 'B').blurArcsec, 2);
  const helped: [name: string, text: string][] = outlook.stopDown.map((stop) => [
    'stopping down',
    `to ${significant(stop.apertureMm, 2)} mm (f/${significant(stop.focalRatio, 2)}), ${significant(stop.lightLeftPercent, 2)} % of the light left, ` +
      `brings ${stop.reaches === 'depth of focus' ? 'blue into the depth of focus' : `the ratio of ${stop.reaches}`}: ` +
      `blur of blue from ${nowArcsec} to ${significant(stop.blueBlurArcsec, 2)}″, halo blue − red from ${now} to ${signed(fixed(stop.blueMinusRedPercent, 0))} %`,
  ]);
  for (const { cutBelowNm, blueLostPercent, blueMinusRedPercent } of outlook.filters) {
    helped.push([
      'a filter',
      `that takes all light below ${cutBelowNm} nm, ${fixed(blueLostPercent, 0)} % of the blue light: ` +
        `halo blue − red from ${now} to ${signed(fixed(blueMinusRedPercent, 0))} %`,
    ]);
  }
  if (halo.level !== 'none') {
    helped.push([
      'processing',
      `can take the colour off rims, not bring their light back: ${fixed(halo.blueOutsidePercent, 0)} % of the blue light lies outside r80 of green`,
    ]);
  }
  helped.forEach(([name, text], i) => {
    lines.push(fact(helped[i - 1]?.[0] === name ? '' : name, text, FACT_INDENT, width));
  });
  return lines.join('\n');
}
