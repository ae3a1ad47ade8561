/** The page of `measure`: made from the document alone, with pictures of the frames where they are handed in. */
import type { CombinedResult } from '../measure/combine.js';
import type { ChannelName, FrameResult, HaloContrast, Uncertain } from '../measure/result.js';
import type { NamedPicture } from './field-pictures.js';
import { factRows } from './frame-table.js';
import { shortNames } from './frames-table.js';
import { type EmbeddedImage, figure, imageFigure } from './html/figure.js';
import { term } from './html/glossary.js';
import { type Html, html, type Part } from './html/markup.js';
import { htmlPage, methodSection, type Section, warningSection } from './html/page.js';
import { dataTable, factList } from './html/table.js';
import type { MeasureDocument } from './json.js';
import { count, fixed, NOT_MEASURED, signed, significant, withUncertainty } from './number.js';
import { contrastPicture, encircledPicture, profilesPicture } from './svg/channel-curves.js';
import { type ChannelStamp, channelStampsPicture } from './svg/channel-stamps.js';
import { CHANNEL_ORDER, CHANNEL_WORDS, HALO_ROWS, layoutWords, scaleWords } from './words.js';

/** What was drawn from a frame's pixels; null where nothing was. */
export interface FrameImages {
  /** The whole frame, reduced, with the measured stars marked. */
  overview: (EmbeddedImage & { stretch: string; marked: number }) | null;
  /** The clearest stars, colour by colour. */
  stamps: readonly ChannelStamp[];
}

/** Frames of a page that get pictures; the others get tables only, so that a page stays small. */
export const MOST_PICTURED = 6;

/** Pictures of one frame, drawn from its record. */
export function measurePictures(result: FrameResult): NamedPicture[] {
  const all: [string, NamedPicture['picture'] | null][] = [
    ['profiles', profilesPicture(result)],
    ['encircled', encircledPicture(result)],
    ['contrast', contrastPicture(result)],
  ];
  return all.flatMap(([name, picture]) => (picture === null ? [] : [{ name, picture }]));
}

/**
 * The page as text.
 * @param images of each frame, in the order of the document; may be shorter
 */
export function measurePage(
  document: MeasureDocument,
  images: readonly (FrameImages | null)[],
): string {
  const { frames, combined } = document;
  const [only] = frames;
  const method = methodSection(METHOD, document);
  const warnings = warningSection(document.warnings);
  if (frames.length === 1 && only !== undefined) {
    return htmlPage({
      title: only.file,
      command: 'measure',
      facts: frameFacts(only),
      summary: frameSummary(only),
      sections: [...frameSections(only, images[0] ?? null, ''), warnings, method],
    });
  }
  const names = shortNames(frames.map((each) => each.setFiles?.G ?? each.file));
  const failed = frames.filter(({ status }) => status === 'failed').length;
  return htmlPage({
    title: `${count(frames.length)} frames`,
    command: 'measure',
    facts: failed === 0 ? 'all measured' : `${count(failed)} could not be measured`,
    summary: severalSummary(frames, names, combined),
    sections: [
      {
        id: 'frames',
        title: 'All frames',
        body: [framesTable(frames, names, combined), pictureNote(frames.length)],
      },
      ...frames.map((result, i): Section => {
        const key = `frame-${i + 1}`;
        return {
          id: key,
          title: names[i] as string,
          body: [
            html`<p class="note">${result.file}: ${frameFacts(result)}</p>`,
            html`<p>${frameSummary(result)}</p>`,
            ...frameSections(result, images[i] ?? null, `${key}-`, i < MOST_PICTURED).flatMap(
              ({ title, body }) =>
                body.some((part) => part !== null) ? [html`<h3>${title}</h3>`, ...body] : [],
            ),
          ],
        };
      }),
      warnings,
      method,
    ],
  });
}

const METHOD = [
  html`<p>Stars are found and fitted in the recorded samples, colour by colour; a mosaic is not interpolated. The mean ${term('profile')} of the clear stars gives the sizes. Intervals (${term('interval')}) come from drawing the stars anew, many times.</p>`,
  html`<p>The ${term('halo')} number is the share of a star’s light that lies beyond a radius, first colour minus second; what a ${term('perfectLens')} of the same size shows through the same air is stated beside it where size and scale are known.</p>`,
];

function frameFacts(result: FrameResult): string {
  if (result.status === 'failed') return 'could not be measured';
  const object = result.metadata?.object;
  return [
    layoutWords(result),
    scaleWords(result.scaleArcsecPerPx),
    ...(object ? [`object: ${object}`] : []),
    ...(result.metadata?.dateObs ? [`taken ${result.metadata.dateObs}`] : []),
  ].join('; ');
}

function frameSummary(result: FrameResult): string {
  if (result.status === 'failed') {
    return `${result.error?.message ?? 'could not be measured'}: ${result.error?.remedy ?? ''}`;
  }
  return result.sentence === '' ? 'Nothing was measured; the warnings say why.' : result.sentence;
}

function severalSummary(
  frames: readonly FrameResult[],
  names: readonly string[],
  combined: CombinedResult | null,
): string {
  const used = frames.filter(({ status }) => status === 'ok').length;
  if (combined === null) {
    const levels = frames.flatMap(({ halo }, i) =>
      halo === null ? [] : [`${names[i] ?? ''}: ${halo.level}`],
    );
    const told = levels.length === 0 ? '' : ` Halo of ${levels.join('; ')}.`;
    return `${count(used)} of ${count(frames.length)} frames were measured; they are not combined.${told}`;
  }
  const halo = combined.halo?.blueMinusRed;
  const number = halo?.overPerfectLensPercent ?? halo?.excessPercent ?? null;
  const words =
    combined.halo === null || number === null
      ? ''
      : ` Halo: ${combined.halo.level}; blue minus red is ${signed(withUncertainty(number, 2))} % of a star’s light${halo?.overPerfectLensPercent ? ' over a perfect lens' : ''}.`;
  return `${count(combined.files.length)} frames combined, ${count(combined.starsUsed)} star images used.${words}`;
}

function pictureNote(frames: number): Html | null {
  return frames > MOST_PICTURED
    ? html`<p class="note">Pictures are shown for the first ${MOST_PICTURED} frames.</p>`
    : null;
}

function framesTable(
  frames: readonly FrameResult[],
  names: readonly string[],
  combined: CombinedResult | null,
): Html | null {
  const channels = CHANNEL_ORDER.filter((name) =>
    frames.some((each) => each.channels[name] !== undefined),
  );
  const hasHalo = frames.some(({ halo }) => halo !== null);
  const percent = (value: Uncertain | null | undefined): string =>
    signed(withUncertainty(value ?? null, 2));
  const row = (
    name: Part,
    stars: string,
    sizes: Partial<Record<ChannelName, { fwhmPx: Uncertain | null }>>,
    halo: {
      level: string;
      blueMinusRed: { excessPercent: Uncertain | null; overPerfectLensPercent: Uncertain | null };
    } | null,
  ): Part[] => [
    name,
    stars,
    ...channels.map((each) => withUncertainty(sizes[each]?.fwhmPx ?? null, 2)),
    ...(hasHalo
      ? [
          percent(halo?.blueMinusRed.excessPercent),
          percent(halo?.blueMinusRed.overPerfectLensPercent),
          halo?.level ?? NOT_MEASURED,
        ]
      : []),
  ];
  return dataTable({
    caption: 'One row per frame',
    columns: [
      { head: 'frame' },
      { head: 'stars used' },
      ...channels.map((name) => ({
        head: html`${term('fwhm')} ${CHANNEL_WORDS[name]}, ${term('px')}`,
      })),
      ...(hasHalo
        ? [
            { head: 'blue − red, %' },
            { head: html`over the ${term('perfectLens')}, %` },
            { head: term('halo'), align: 'left' as const },
          ]
        : []),
    ],
    rows: [
      ...frames.map((each, i) =>
        row(
          html`<a href="#frame-${i + 1}">${names[i] ?? each.file}</a>`,
          each.status === 'failed'
            ? 'failed'
            : each.stars === null
              ? NOT_MEASURED
              : count(each.stars.used),
          each.channels,
          each.halo,
        ),
      ),
      ...(combined === null
        ? []
        : [
            row(
              html`<strong>${count(combined.files.length)} combined</strong>`,
              count(combined.starsUsed),
              combined.channels,
              combined.halo,
            ),
          ]),
    ],
    sortable: false,
    note:
      combined === null || combined.notes.length === 0
        ? null
        : combined.notes.map((note) => `Note: ${note}. `),
  });
}

/** Sections of one frame; ids and captions carry `key`, so that several frames fit into one page. */
function frameSections(
  result: FrameResult,
  images: FrameImages | null,
  key: string,
  pictured = true,
): Section[] {
  if (result.status === 'failed') return [];
  const captions: Record<string, Part> = {
    profiles: html`The ${term('profile')} of each colour. Bands: 1 σ. Brightness on a logarithmic scale. Colours differ in dashes and marks as well.`,
    encircled: html`${term('encircled', 'Encircled light')}. Marks with bars: ${term('r50')}, ${term('r80')} and ${term('r90')} with their ${term('interval')}.`,
    contrast: html`The ${term('halo')} along the radius with ${term('interval', '68 % bands')}. Dotted: the radius at which the halo number is read. Short bars on it: a ${term('perfectLens')}, where that is known.`,
  };
  const pictures = pictured ? measurePictures(result) : [];
  const overview = images?.overview ?? null;
  const stamps = channelStampsPicture(images?.stamps ?? []);
  return [
    {
      id: `${key}pictures`,
      title: 'Pictures',
      body: [
        ...pictures.map(({ name, picture }) =>
          figure(picture, captions[name] ?? '', `${key}${name}`),
        ),
        stamps === null
          ? null
          : figure(
              stamps,
              'The clearest of the stars used, colour by colour. Each image is scaled to its own peak; faint light is raised, alike for all: asinh(v/0.03), peak = 1. Colours of a mosaic are filled in from the neighbouring samples, for looking at only.',
              `${key}stamps`,
            ),
        overview === null
          ? null
          : imageFigure(
              overview,
              `The frame in ${overview.widthPx} × ${overview.heightPx} px, with ${overview.marked} measured stars marked.`,
              `The frame. ${overview.stretch} Circles: the ${count(overview.marked)} clearest of the stars used. Drawn with y upwards, for looking at only.`,
            ),
      ],
    },
    {
      id: `${key}sizes`,
      title: 'Sizes',
      body: [sizesTable(result, key)],
    },
    { id: `${key}halo`, title: 'Halo', body: [haloTable(result, key)] },
    {
      id: `${key}facts`,
      title: 'More about the frame',
      body: [factList(factRows(result))],
    },
  ];
}

function captionOf(text: string, key: string): string {
  return key === '' ? text : `${text}, ${key.replace(/-$/, '').replace('-', ' ')}`;
}

function sizesTable(result: FrameResult, key: string): Html | null {
  const names = CHANNEL_ORDER.filter((name) => result.channels[name] !== undefined);
  const scaled = result.scaleArcsecPerPx !== null;
  const sizes = [
    ['fwhm', 'fwhmPx', 'fwhmArcsec'],
    ['hfd', 'hfdPx', 'hfdArcsec'],
    ['r80', 'r80Px', 'r80Arcsec'],
    ['r90', 'r90Px', 'r90Arcsec'],
  ] as const;
  return dataTable({
    caption: captionOf('Sizes, background and noise by colour', key),
    columns: [
      { head: 'colour' },
      ...sizes.map(([each]) => ({ head: html`${term(each)}, ${term('px')}` })),
      { head: term('ellipticity') },
      { head: html`background, ${term('adu')}` },
      { head: html`noise, ${term('adu')}` },
    ],
    rows: names.flatMap((name) => {
      const channel = result.channels[name];
      if (channel === undefined) return [];
      return [
        [
          CHANNEL_WORDS[name],
          ...sizes.map(([, px, arcsec]) =>
            scaled
              ? html`${withUncertainty(channel[px], 2)}<br><span class="remedy">${withUncertainty(channel[arcsec], 2)}″</span>`
              : withUncertainty(channel[px], 2),
          ),
          withUncertainty(channel.ellipticity),
          withUncertainty(channel.backgroundAdu),
          withUncertainty(channel.noiseAdu),
        ],
      ];
    }),
    note: html`Sizes are those of the recorded image, pixel included${scaled ? html`; the second line is in seconds of arc (${term('arcsec')})` : null}. Errors: ${term('interval')}.`,
  });
}

function haloTable({ halo, scaleArcsecPerPx: scale }: FrameResult, key: string): Html | null {
  if (halo === null) return null;
  const reach = ({ reachPx, reachArcsec }: HaloContrast): string =>
    reachPx === null
      ? 'nowhere'
      : `${significant(reachPx, 2)} px${reachArcsec === null ? '' : ` (${significant(reachArcsec, 2)}″)`}`;
  const { atRadiusPx, normalisedWithinPx } = halo.blueMinusRed;
  const length = (px: number): string =>
    `${significant(px)} px${scale === null ? '' : ` (${significant(px * scale)}″)`}`;
  return dataTable({
    caption: captionOf(`Halo: ${halo.level}`, key),
    columns: [
      { head: 'colours' },
      { head: 'measured, %' },
      { head: html`${term('perfectLens')}, %` },
      { head: 'over the perfect lens, %' },
      { head: 'reaches out to' },
    ],
    rows: HALO_ROWS.map(({ key: each, words }) => [
      words,
      signed(withUncertainty(halo[each].excessPercent, 2)),
      halo[each].perfectLensPercent === null
        ? NOT_MEASURED
        : signed(fixed(halo[each].perfectLensPercent, 1)),
      signed(withUncertainty(halo[each].overPerfectLensPercent, 2)),
      reach(halo[each]),
    ]),
    note: html`Share of a star’s light beyond ${length(atRadiusPx)}, the ${term('r80')} of green: first colour minus second. All light is counted within ${length(normalisedWithinPx)}.`,
  });
}
