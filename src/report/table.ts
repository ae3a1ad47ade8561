/** The text report of a run: one frame in full, or several in rows. */
import type { CombinedResult } from '../measure/combine.js';
import type { FrameResult } from '../measure/result.js';
import { frameText } from './frame-table.js';
import { framesText } from './frames-table.js';
import type { TextStyle } from './layout.js';

/**
 * The report with a closing line break; empty when the only frame could not be measured (its error is a message, not a
 * result).
 */
export function reportText(
  results: readonly FrameResult[],
  combined: CombinedResult | null,
  width: number,
  style: TextStyle,
): string {
  const [first] = results;
  if (first === undefined) return '';
  if (results.length > 1) return `${framesText(results, combined, width, style)}\n`;
  return first.status === 'failed' ? '' : `${frameText(first, width, style)}\n`;
}
