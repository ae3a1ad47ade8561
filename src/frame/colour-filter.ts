/** Whether a frame lies under a 2 × 2 colour filter mosaic, and in which order, counted in STORED rows.
 *
 * Sources, in this order: the user's option; the header (BAYERPAT, COLORTYP, CFA keywords, or FILTER when it holds one of the four
 * orders; shifted by XBAYROFF and YBAYROFF); the pixels. ROWORDER = 'BOTTOM-UP' says that the first stored row is the lowest of the picture,
 * while the order is named from the top: with an even number of rows the two rows of the cell then change places. Without
 * ROWORDER the order is taken to hold for the stored rows.
 *
 * The pixels know the diagonal of the green sites, but not red from blue. They can therefore contradict a header; the rows
 * stored the other way round are the usual cause, so the header's order is then used with its two rows exchanged.
 */
import type { Warning } from '../warnings.js';
import type { CfaDecision, CfaPattern, Layout, RowSource } from './frame.js';
import { type KeywordSource, quoteValue } from './keywords.js';
import { judgeLattices, type LatticeVerdict, measureLattices } from './lattice.js';

const PATTERNS: readonly CfaPattern[] = ['RGGB', 'BGGR', 'GRBG', 'GBRG'];
const PATTERN_KEYWORDS = ['BAYERPAT', 'CFAPAT', 'CFATYPE', 'CFA', 'COLORTYP', 'FILTER'];
/** Keywords that hold nothing but a mosaic order: another text in them is worth a warning. */
const MOSAIC_ONLY = new Set(['BAYERPAT', 'CFAPAT', 'CFATYPE']);
const NO_MOSAIC = new Set(['', 'NONE', 'MONO', 'FALSE', 'F', '0', 'NO']);

/** What is decided about a frame. */
export interface ColourFilterChoice {
  layout: Layout;
  cfa: CfaDecision | null;
}

/** The order of the two rows of a cell exchanged: what a picture stored the other way up shows. */
function exchangeRows(pattern: CfaPattern): CfaPattern {
  return (pattern.slice(2) + pattern.slice(0, 2)) as CfaPattern;
}

/** The order of the two columns of a cell exchanged. */
function exchangeColumns(pattern: CfaPattern): CfaPattern {
  const [a, b, c, d] = pattern;
  return `${b}${a}${d}${c}` as CfaPattern;
}

/** True when green lies on the sites (0, 0) and (1, 1). */
function greenOnMain(pattern: CfaPattern): boolean {
  return pattern.startsWith('G');
}

interface Situation {
  rows: RowSource;
  warn: (code: string, message: string) => void;
  /** Looks at the pixels; only called where the answer can matter. */
  verdict: () => LatticeVerdict;
}

/** Decides layout and mosaic; every doubt goes to `warnings`. Reads a sample of the pixels unless the option says 'none'. */
export function decideColourFilter(
  rows: RowSource,
  keywords: KeywordSource,
  option: CfaPattern | 'none' | undefined,
  binning: number | null,
  warnings: Warning[],
  path: string,
): ColourFilterChoice {
  const warn = (code: string, message: string) => {
    warnings.push({ code, message, file: path });
  };
  if (rows.planes === 3) {
    if (option !== undefined && option !== 'none') {
      warn('cfa-ignored', `--cfa ${option} is ignored: the frame has three colour planes already`);
    }
    return { layout: 'rgb', cfa: null };
  }
  if (option === 'none') return { layout: 'mono', cfa: null };
  const situation: Situation = {
    rows,
    warn,
    verdict: () => {
      const differences = measureLattices(rows);
      return differences === null ? 'none' : judgeLattices(differences);
    },
  };
  if (option !== undefined) return byOption(option, situation);
  const header = headerPattern(keywords, rows.height, warn);
  if (header.unsupported) return { layout: 'mono', cfa: null };
  if (header.pattern === null) return byPixels(situation);
  return byHeader(header.pattern, header.text, binning, situation);
}

function byOption(pattern: CfaPattern, { warn, verdict }: Situation): ColourFilterChoice {
  if (contradicts(verdict(), pattern)) {
    warn(
      'cfa-contradiction',
      `--cfa ${pattern} is used, but the pixels disagree: the sites it calls green differ from each other, the others agree; rows stored the other way up would make it ${exchangeRows(pattern)}`,
    );
  }
  return choice(pattern, 'option', true);
}

function byHeader(
  pattern: CfaPattern,
  text: string,
  binning: number | null,
  { rows, warn, verdict }: Situation,
): ColourFilterChoice {
  const seen = verdict();
  if (contradicts(seen, pattern)) {
    const exchanged = exchangeRows(pattern);
    const explained = rows.height % 2 === 0;
    const other = exchangeColumns(pattern);
    warn(
      'cfa-contradiction',
      `${text} puts the green sites where the pixels do not have them; used is ${exchanged}, as if the rows were stored the other way up${
        explained
          ? ''
          : ' (an odd number of rows does not explain it, so red and blue stay unknown)'
      }; give --cfa ${exchanged} or --cfa ${other} to settle it`,
    );
    return choice(exchanged, 'pixels', explained);
  }
  if (seen === 'none' && binning !== null && binning > 1) {
    warn(
      'cfa-binned',
      `${text} names a mosaic, but the frame is binned ${binning} and its pixels show none; if colours were mixed by binning, give --cfa none`,
    );
  }
  return choice(pattern, 'header', true);
}

function byPixels({ warn, verdict }: Situation): ColourFilterChoice {
  const seen = verdict();
  if (seen === 'checkerboard') {
    warn(
      'mosaic-possible',
      'neighbouring sites differ like the squares of a chessboard, yet no mosaic is named in the header and green cannot be told; measured as mono; if it is a colour camera, give --cfa with its order',
    );
  }
  if (seen !== 'green-main' && seen !== 'green-anti') return { layout: 'mono', cfa: null };
  const [first, second]: [CfaPattern, CfaPattern] =
    seen === 'green-main' ? ['GRBG', 'GBRG'] : ['RGGB', 'BGGR'];
  warn(
    'cfa-from-pixels',
    `the header names no mosaic, but the pixels show one: green lies on one diagonal of each 2 x 2 cell; red and blue cannot be told apart; give --cfa ${first} or --cfa ${second} (or --cfa none for a mono camera)`,
  );
  return choice(first, 'pixels', false);
}

function contradicts(verdict: LatticeVerdict, pattern: CfaPattern): boolean {
  return verdict === (greenOnMain(pattern) ? 'green-anti' : 'green-main');
}

function choice(
  pattern: CfaPattern,
  source: CfaDecision['source'],
  redBlueKnown: boolean,
): ColourFilterChoice {
  return { layout: 'cfa', cfa: { pattern, source, redBlueKnown } };
}

interface HeaderPattern {
  /** In stored rows, offsets and row order applied; null when the header names none. */
  pattern: CfaPattern | null;
  /** How the header says it, for messages. */
  text: string;
  /** True when the header names a mosaic of another kind. */
  unsupported: boolean;
}

function headerPattern(
  keywords: KeywordSource,
  height: number,
  warn: Situation['warn'],
): HeaderPattern {
  for (const name of PATTERN_KEYWORDS) {
    const keyword = keywords.find(name);
    if (keyword === undefined) continue;
    const text = keyword.text.trim().toUpperCase();
    const named = PATTERNS.find((pattern) => pattern === text);
    if (named !== undefined) {
      const pattern = toStoredRows(named, keywords, height, warn);
      return { pattern, text: `${name} = ${quoteValue(keyword)}`, unsupported: false };
    }
    if (!MOSAIC_ONLY.has(name) || NO_MOSAIC.has(text)) continue;
    if (/^(?:TRUE|T|1|YES|VALID)$/.test(text)) continue;
    warn(
      'cfa-unsupported',
      `${name} = ${quoteValue(keyword)} is none of ${PATTERNS.join(', ')}; the frame is measured as mono, which mixes its colours; give --cfa if it is one of the four`,
    );
    return { pattern: null, text: '', unsupported: true };
  }
  return { pattern: null, text: '', unsupported: false };
}

function toStoredRows(
  named: CfaPattern,
  keywords: KeywordSource,
  height: number,
  warn: Situation['warn'],
): CfaPattern {
  let pattern = named;
  if (isOdd(keywords, 'XBAYROFF', warn)) pattern = exchangeColumns(pattern);
  if (isOdd(keywords, 'YBAYROFF', warn)) pattern = exchangeRows(pattern);
  const order = keywords.find('ROWORDER');
  const text = order?.text.trim().toUpperCase() ?? '';
  if (text === 'BOTTOM-UP') return height % 2 === 0 ? exchangeRows(pattern) : pattern;
  if (order !== undefined && text !== '' && text !== 'TOP-DOWN') {
    warn(
      'header-value-ignored',
      `ROWORDER = ${quoteValue(order)} is left out: known are TOP-DOWN and BOTTOM-UP`,
    );
  }
  return pattern;
}

function isOdd(keywords: KeywordSource, name: string, warn: Situation['warn']): boolean {
  const keyword = keywords.find(name);
  if (keyword === undefined || keyword.text.trim() === '') return false;
  const value = Number(keyword.value);
  if (!Number.isInteger(value)) {
    warn('header-value-ignored', `${name} = ${quoteValue(keyword)} is left out: no whole number`);
    return false;
  }
  return Math.abs(value) % 2 === 1;
}
