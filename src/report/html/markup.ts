/** HTML as a value of its own, so that text from files can never pass for markup: whatever is not `Html` is escaped. */
import { escapeMarkup } from '../escape.js';

/** Finished markup. Made by `html` and the building blocks beside it, never from text that came from a file. */
export interface Html {
  readonly markup: string;
}

/** What may stand in a template: text and numbers are escaped, lists are joined, null and empty text leave nothing. */
export type Part = string | number | null | Html | readonly Part[];

function markupOf(part: Part): string {
  if (part === null) return '';
  if (typeof part === 'string') return escapeMarkup(part);
  if (typeof part === 'number') return String(part);
  return 'markup' in part ? part.markup : part.map(markupOf).join('');
}

/** Template of markup: html`<p>${text}</p>`. Attribute values must stand in double quotes. */
export function html(strings: TemplateStringsArray, ...parts: readonly Part[]): Html {
  return { markup: strings.map((text, i) => text + markupOf(parts[i] ?? null)).join('') };
}

/** Markup that this program itself wrote, such as the body of a picture. */
export function trusted(markup: string): Html {
  return { markup };
}

/** A name fit for an id: letters, digits and hyphens. */
export function idOf(text: string): string {
  return text
    .toLowerCase()
    .replace(/[^a-z0-9]+/g, '-')
    .replace(/^-|-$/g, '');
}
