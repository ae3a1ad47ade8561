/** Whether a frame lies under a 2 × 2 colour filter mosaic, and in which order, counted in stored rows. */
import type { Warning } from '../warnings.js';
import type { CfaDecision, CfaPattern, Layout, RowSource } from './frame.js';
import type { KeywordSource } from './keywords.js';

const PATTERNS: ReadonlySet<string> = new Set(['RGGB', 'BGGR', 'GRBG', 'GBRG']);

export function decideColourFilter(
  rows: RowSource,
  keywords: KeywordSource,
  option: CfaPattern | 'none' | undefined,
  _binning: number | null,
  _warnings: Warning[],
  _path: string,
): { layout: Layout; cfa: CfaDecision | null } {
  if (rows.planes === 3) return { layout: 'rgb', cfa: null };
  if (option === 'none') return { layout: 'mono', cfa: null };
  if (option)
    return { layout: 'cfa', cfa: { pattern: option, source: 'option', redBlueKnown: true } };
  const text = keywords.find('BAYERPAT')?.text.trim().toUpperCase() ?? '';
  if (PATTERNS.has(text)) {
    return {
      layout: 'cfa',
      cfa: { pattern: text as CfaPattern, source: 'header', redBlueKnown: true },
    };
  }
  return { layout: 'mono', cfa: null };
}
