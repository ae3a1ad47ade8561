/** A whole page in one file: no outside address, nothing runs but the one script whose hash the policy names. */
import { createHash } from 'node:crypto';
import { VERSION } from '../../version.js';
import { glossaryOf } from './glossary.js';
import { type Html, html, type Part, trusted } from './markup.js';
import { SORT_SCRIPT } from './script.js';
import { PAGE_CSS } from './styles.js';
import { factList } from './table.js';

export interface Section {
  /** Letters, digits, hyphens; unlike any other of the page. */
  id: string;
  title: string;
  /** Null parts are left out; a section without any is left out as a whole. */
  body: readonly (Html | null)[];
}

export interface Page {
  /** What is reported on, e.g. the file. */
  title: string;
  /** The command whose result this is. */
  command: string;
  /** Line of facts under the title. */
  facts: Part;
  /** The result in plain words, before everything else. */
  summary: Part;
  sections: readonly Section[];
}

/** Stands on every page: pictures of the sky are made with telescopes. */
const SUN =
  'never point a telescope or finder at or near the Sun without a certified full-aperture solar filter: it blinds at once.';

/** Source of the policy: Content Security Policy Level 3, hash sources (base64 of SHA-256 over the element's text). */
function hashSource(text: string): string {
  return `'sha256-${createHash('sha256').update(text, 'utf8').digest('base64')}'`;
}

function policy(): string {
  return [
    "default-src 'none'",
    'img-src data:',
    `style-src ${hashSource(PAGE_CSS)}`,
    `script-src ${hashSource(SORT_SCRIPT)}`,
    "base-uri 'none'",
    "form-action 'none'",
  ].join('; ');
}

function sectionMarkup({ id, title, body }: Section): Html {
  return html`<section id="${id}" aria-labelledby="${id}-head"><h2 id="${id}-head">${title}</h2>
${body}</section>
`;
}

/** The document as text. Same input, same bytes. */
export function htmlPage({ title, command, facts, summary, sections }: Page): string {
  const shown = sections.filter(({ body }) => body.some((part) => part !== null));
  const middle = html`<div class="lead" id="summary"><p>${summary}</p></div>${shown.map(sectionMarkup)}`;
  const glossary = glossaryOf(middle.markup);
  const all = [
    ...shown,
    ...(glossary === null ? [] : [{ id: 'glossary', title: 'Glossary', body: [glossary] }]),
  ];
  const links = all.map((each) => html`<li><a href="#${each.id}">${each.title}</a></li>`);
  return html`<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><meta http-equiv="Content-Security-Policy" content="${trusted(policy())}"><meta name="viewport" content="width=device-width, initial-scale=1"><meta name="referrer" content="no-referrer"><meta name="generator" content="bluerim ${VERSION}"><title>${title} – bluerim ${command}</title><style>${trusted(PAGE_CSS)}</style></head>
<body><header><p class="kicker">bluerim ${command}</p><h1>${title}</h1><p class="note">${facts}</p><nav aria-label="Sections"><ul>${links}</ul></nav></header>
<main>
${middle}${glossary === null ? null : sectionMarkup({ id: 'glossary', title: 'Glossary', body: [glossary] })}</main>
<footer><p>Caution: ${SUN}</p><p>Written by bluerim ${VERSION}. This page holds everything that it shows and asks nothing of the network.</p></footer>
<script>${trusted(SORT_SCRIPT)}</script></body></html>
`.markup;
}

/** Section with the options of a document: what is needed to get the same numbers again. Null = not given. */
export function methodSection(
  method: readonly Html[],
  document: { schema: string; version: string; parameters: object },
): Section {
  const { schema, version, parameters } = document;
  const all = Object.entries(parameters) as [string, unknown][];
  const given = all.filter(([, value]) => value !== null);
  const absent = all.filter(([, value]) => value === null);
  return {
    id: 'method',
    title: 'Method and parameters',
    body: [
      ...method,
      factList([
        ['program', `bluerim ${version}`],
        ['form of the record', schema],
        ...given.map(([name, value]): [string, string] => [
          parameterWords(name),
          typeof value === 'boolean' ? (value ? 'yes' : 'no') : String(value),
        ]),
        ['not given', absent.map(([name]) => parameterWords(name)).join('; ')],
      ]),
    ],
  };
}

/** Parameters whose names say too little. */
const PARAMETER_WORDS: Readonly<Record<string, string>> = {
  cfa: 'order of the mosaic',
  hdu: 'image of the FITS file',
  page: 'page of the TIFF file',
  gainElectronsPerAdu: 'gain, electrons per ADU',
};

const PARAMETER_UNITS: readonly (readonly [ending: RegExp, unit: string])[] = [
  [/Px$/, ', px'],
  [/Mm$/, ', mm'],
  [/Um$/, ', µm'],
  [/Adu$/, ', ADU'],
  [/Arcsec$/, ', ″'],
  [/Sigma$/, ', σ'],
];

/** `focalLengthMm` → `focal length, mm`. */
export function parameterWords(name: string): string {
  const known = PARAMETER_WORDS[name];
  if (known !== undefined) return known;
  const found = PARAMETER_UNITS.find(([ending]) => ending.test(name));
  const bare = found === undefined ? name : name.replace(found[0], '');
  return `${bare.replaceAll(/[A-Z]/g, (letter) => ` ${letter.toLowerCase()}`)}${found?.[1] ?? ''}`;
}

/** Section with warnings, each with what to do; left out where there are none. */
export function warningSection(
  warnings: readonly { message: string; remedy?: string; file?: string }[],
): Section {
  const items = warnings.map(
    ({ message, remedy, file }) =>
      html`<li>${file === undefined ? null : `${file}: `}${message}${
        remedy === undefined || remedy === '' ? null : html` <span class="remedy">${remedy}</span>`
      }</li>`,
  );
  return {
    id: 'warnings',
    title: 'Warnings',
    body: [items.length === 0 ? null : html`<ul class="cautions">${items}</ul>`],
  };
}
