/** The report of one frame as text: heading, sizes, halo, facts, and the sentence. */
import type {
  ChannelName,
  ChannelResult,
  FrameResult,
  HaloContrast,
  RegistrationResult,
  Uncertain,
} from '../measure/result.js';
import { escapeControls } from './escape.js';
import { type Column, columnsText, fact, fits, type TextStyle, wrap } from './layout.js';
import {
  count,
  fixed,
  NOT_MEASURED,
  signed,
  significant,
  valueOnly,
  withUncertainty,
} from './number.js';
import {
  CHANNEL_ORDER,
  CHANNEL_WORDS,
  focalShareWords,
  HALO_ROWS,
  layoutWords,
  linearityWords,
  rejectionWords,
  scaleWords,
  tintWords,
} from './words.js';

const FACT_INDENT = 14;

/** Text of one measured frame, no wider than `width` characters where words allow. Ends without a line break. */
export function frameText(result: FrameResult, width: number, style: TextStyle): string {
  const parts = [
    `${style.strong(escapeControls(result.file))}\n${style.faint(
      wrap(`${layoutWords(result)}, ${scaleWords(result.scaleArcsecPerPx)}`, width),
    )}`,
  ];
  const channels = CHANNEL_ORDER.filter((name) => result.channels[name] !== undefined);
  if (channels.length > 0) parts.push(channelBlock(result, channels, width, style));
  if (result.halo !== null) parts.push(haloBlock(result, width, style));
  const facts = factLines(result, width);
  if (facts.length > 0) parts.push(facts.join('\n'));
  if (result.sentence !== '') parts.push(style.strong(wrap(result.sentence, width)));
  return parts.join('\n\n');
}

/** The channel's name in its own colour. */
export function paintChannel(name: ChannelName, style: TextStyle): string {
  const words = CHANNEL_WORDS[name];
  return name === 'R'
    ? style.red(words)
    : name === 'G'
      ? style.green(words)
      : name === 'B'
        ? style.blue(words)
        : words;
}

const SIZES = [
  ['FWHM', 'fwhmPx', 'fwhmArcsec'],
  ['HFD', 'hfdPx', 'hfdArcsec'],
  ['r80', 'r80Px', 'r80Arcsec'],
  ['r90', 'r90Px', 'r90Arcsec'],
] as const;

function channelBlock(
  result: FrameResult,
  names: readonly ChannelName[],
  width: number,
  style: TextStyle,
): string {
  const scaled = result.scaleArcsecPerPx !== null;
  const channels = names.map((name) => result.channels[name] as ChannelResult);
  const two = (px: string, arcsec: string): string => (scaled ? `${px}\n${arcsec}` : px);
  const columns: Column[] = [
    {
      head: '',
      cells: names.map((name) => two(paintChannel(name, style), style.faint('  ″'))),
    },
  ];
  for (const [head, px, arcsec] of SIZES) {
    columns.push({
      head: `${head}\npx`,
      cells: channels.map((channel) =>
        two(withUncertainty(channel[px], 2), style.faint(valueOnly(channel[arcsec], 2))),
      ),
    });
  }
  columns.push(
    {
      head: 'ellipticity\nat angle',
      cells: channels.map((channel) => ellipticityText(channel)),
    },
    {
      head: 'background\nADU',
      cells: channels.map((channel) => valueOnly(channel.backgroundAdu)),
    },
    { head: 'noise\nADU', cells: channels.map((channel) => valueOnly(channel.noiseAdu)) },
  );
  const measured = columns.filter(
    (column, i) => i === 0 || column.cells.some((cell) => !cell.startsWith(NOT_MEASURED)),
  );
  const sized = measured.some((column) => column.head.startsWith('FWHM'));
  const legend =
    'FWHM: width at half brightness. HFD: diameter that holds half the light. ' +
    'r80, r90: radius that holds 80, 90 % of it. Ellipticity: 0 is round.';
  // Sizes stay together where one table is too wide.
  const [label] = measured as [Column];
  const isSize = (column: Column): boolean => SIZES.some(([head]) => column.head.startsWith(head));
  const table = fits(measured, width)
    ? columnsText(measured, width, style)
    : [measured.filter(isSize), measured.slice(1).filter((column) => !isSize(column))]
        .filter((block) => block.length > 0)
        .map((block) => columnsText([label, ...block], width, style))
        .join('\n\n');
  return sized ? `${table}\n${style.faint(wrap(legend, width))}` : table;
}

function ellipticityText(channel: ChannelResult): string {
  const { ellipticity, elongationAngleDeg: angle } = channel;
  if (ellipticity === null) return NOT_MEASURED;
  const text = withUncertainty(ellipticity);
  // A direction means nothing where roundness is not excluded.
  return angle === null || !(ellipticity.low > 0) ? text : `${text} ${fixed(angle, 0)}°`;
}

function haloBlock(result: FrameResult, width: number, style: TextStyle): string {
  const halo = result.halo as NonNullable<FrameResult['halo']>;
  const scale = result.scaleArcsecPerPx;
  const { atRadiusPx, normalisedWithinPx } = halo.blueMinusRed;
  const contrasts = HALO_ROWS.map((row) => halo[row.key]);
  const percent = (value: Uncertain | null): string => signed(withUncertainty(value, 2));
  const columns: Column[] = [
    { head: '', cells: HALO_ROWS.map((row) => row.words) },
    { head: 'measured\n%', cells: contrasts.map((each) => percent(each.excessPercent)) },
    {
      head: 'perfect lens\n%',
      cells: contrasts.map((each) =>
        each.perfectLensPercent === null ? NOT_MEASURED : signed(fixed(each.perfectLensPercent, 1)),
      ),
    },
    {
      head: 'over the perfect lens\n%',
      cells: contrasts.map((each) => percent(each.overPerfectLensPercent)),
    },
    { head: 'reaches out to\npx', cells: contrasts.map(reachText) },
  ];
  const length = (px: number): string =>
    scale === null
      ? `${significant(px)} px`
      : `${significant(px)} px (${significant(px * scale)}″)`;
  const title = `Halo: ${halo.level}`;
  const legend =
    `Share of a star’s light beyond ${length(atRadiusPx)}, the r80 of green: first colour minus second. ` +
    `All light is counted within ${length(normalisedWithinPx)}.`;
  return [
    style.strong(title),
    columnsText(columns, width, style),
    style.faint(wrap(legend, width)),
  ].join('\n');
}

function reachText(contrast: HaloContrast): string {
  if (contrast.reachPx === null) return 'nowhere';
  const arcsec = contrast.reachArcsec === null ? '' : ` (${significant(contrast.reachArcsec, 2)}″)`;
  return `${significant(contrast.reachPx, 2)}${arcsec}`;
}

function factLines(result: FrameResult, width: number): string[] {
  return factRows(result).map(([name, text]) => fact(name, text, FACT_INDENT, width));
}

/** Names and sentences of what stands beside the tables; nothing for what was not measured. */
export function factRows(result: FrameResult): [name: string, text: string][] {
  const lines: [string, string][] = [];
  const add = (name: string, text: string): void => {
    lines.push([name, text]);
  };
  const { halo, equivalentDefocus, lateralColour, stars, linearity } = result;
  if (halo?.coreTintMag != null) {
    add(
      'tint',
      `core ${signed(withUncertainty(halo.coreTintMag))} mag (${tintWords(halo.coreTintMag)})` +
        (halo.rimTintMag === null
          ? ''
          : `, rim ${signed(withUncertainty(halo.rimTintMag))} mag (${tintWords(halo.rimTintMag)})`),
    );
  }
  if (halo?.starColour != null) {
    const { trendPercentPerMag, referenceColourMag, atReferencePercent } = halo.starColour;
    add(
      'star colour',
      `blue − red is ${signed(withUncertainty(atReferencePercent))} % for the median star (B − R ${fixed(referenceColourMag, 2)} mag, uncalibrated) ` +
        `and changes by ${signed(withUncertainty(trendPercentPerMag))} points per magnitude redder`,
    );
  }
  if (halo?.saturatedStars != null) {
    const { stars: n, ringPx, blueOverExpected, redOverExpected } = halo.saturatedStars;
    add(
      'bright stars',
      `around ${count(n)} clipped stars, ${significant(ringPx[0], 2)} to ${significant(ringPx[1], 2)} px out: ` +
        `blue ${withUncertainty(blueOverExpected, 2)} times, red ${withUncertainty(redOverExpected, 2)} times what the other stars foretell`,
    );
  }
  if (equivalentDefocus !== null) add('extra blur', defocusText(equivalentDefocus));
  if (result.lensLikeness != null) add('kind of lens', likenessText(result.lensLikeness));
  if (lateralColour !== null) add('colour shift', lateralText(lateralColour));
  if (stars !== null) {
    const left = rejectionWords(stars.rejected);
    add(
      'stars',
      `${count(stars.found)} found, ${count(stars.used)} used` +
        (stars.zone === 'centre' ? ' in the centre' : '') +
        (left === '' ? '' : `; left out: ${left}`),
    );
  }
  if (result.registration !== undefined) add('registered', registrationText(result.registration));
  if (linearity !== null) add('data', linearityWords(linearity));
  if (result.corners != null) add('corners', `${result.corners.summary} (more: bluerim field)`);
  return lines;
}

/** How a likeness reads after a defocus. */
const LIKE_WORDS: Readonly<Record<NonNullable<FrameResult['lensLikeness']>['like'], string>> = {
  'worse than an achromat': 'worse than a classical achromat',
  achromat: 'as a classical achromat',
  'between achromat and ED doublet': 'between a classical achromat and an ED doublet',
  'ED doublet': 'as an ED doublet',
  apochromat: 'as an apochromat',
  'better than a usual apochromat': 'better than a usual apochromat',
};

/** The measurement beside the expectation; an upper limit says what it rules out. */
function likenessText(likeness: NonNullable<FrameResult['lensLikeness']>): string {
  const { like, upperLimit: limit, blueAchromatShare: share, blueDepthsOfFocus: depths } = likeness;
  const achromat = `a classical achromat’s (${focalShareWords(likeness.achromatBlueFocalLengthFraction)})`;
  const least = like === 'better than a usual apochromat';
  const words =
    limit && like === 'worse than an achromat'
      ? 'cannot tell'
      : `${limit && !least ? 'at worst ' : ''}${LIKE_WORDS[like]}`;
  const number = (value: Uncertain): string =>
    limit ? `at most ${upperLimit(value.high)}` : withUncertainty(value, 2);
  return `${words}: in blue ${number(share)} of ${achromat}, ${number(depths)} times half the depth of focus`;
}

function defocusText(defocus: NonNullable<FrameResult['equivalentDefocus']>): string {
  const one = (
    name: string,
    um: Uncertain | null,
    share: Uncertain | null,
    px: Uncertain,
  ): string => {
    // A blur whose interval reaches (nearly) down to nothing is an upper limit.
    const limit = px.low < 0.25 * px.value || px.value === 0;
    if (um === null) {
      return limit
        ? `${name} less than ${upperLimit(px.high)} px wide`
        : `${name} ${withUncertainty(px)} px wide`;
    }
    if (limit) return `${name} less than ${upperLimit(um.high)} µm out of focus`;
    return (
      `${name} like ${withUncertainty(um, 1)} µm out of focus` +
      (share === null ? '' : ` (${focalShareWords(share.value)})`)
    );
  };
  return (
    `against green: ${one('blue', defocus.blueUm, defocus.blueFocalLengthFraction, defocus.blueBlurPx)}, ` +
    one('red', defocus.redUm, defocus.redFocalLengthFraction, defocus.redBlurPx)
  );
}

function registrationText(registration: NonNullable<FrameResult['registration']>): string {
  const one = (name: string, each: RegistrationResult): string =>
    `${name} by ${count(each.matchedStars)} stars, moved by ${significant(each.shiftPx)} px` +
    `${each.mirrored ? ', mirrored' : ''}, turned by ${significant(each.rotationDeg, 2)}°` +
    `, scatter ${significant(each.residualRmsPx, 2)} px`;
  return `on green: ${one('red', registration.R)}; ${one('blue', registration.B)}`;
}

/** An upper limit to two digits. */
function upperLimit(value: number): string {
  return Number(value.toPrecision(2)).toString();
}

function lateralText(lateral: NonNullable<FrameResult['lateralColour']>): string {
  const pair = ([x, y]: [number, number]): string => `(${fixed(x, 2)}, ${fixed(y, 2)}) px`;
  const corner = [
    `${withUncertainty(lateral.atCornerPx)} px`,
    ...(lateral.atCornerArcsec === null ? [] : [`${valueOnly(lateral.atCornerArcsec)}″`]),
    ...(lateral.atCornerUm === null ? [] : [`${valueOnly(lateral.atCornerUm)} µm`]),
  ].join(' = ');
  return (
    `against green, everywhere: blue ${pair(lateral.blueConstantPx)}, red ${pair(lateral.redConstantPx)}; ` +
    `blue from red growing to ${corner} at the corner`
  );
}
