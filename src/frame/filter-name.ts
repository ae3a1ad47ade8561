/** Which of red, green and blue a filter is, from its name in a header or a file name.
 *
 * Spellings in common practice (no standard lists them): the letter or word of the colour, with a system in front (Johnson, Cousins,
 * Bessell, SDSS, Sloan) or a prime behind. V is the green of the photometric systems. Luminance, clear, infrared and line filters are
 * none of the three.
 */
import { basename } from 'node:path';

/** Channels of a filter set. */
export type SetChannel = 'R' | 'G' | 'B';

export const SET_CHANNELS: readonly SetChannel[] = ['R', 'G', 'B'];

const WORDS: Readonly<Record<SetChannel, readonly string[]>> = {
  R: ['r', 'red', 'rouge', 'rot', 'rosso', 'rojo', 'rc'],
  G: ['g', 'green', 'vert', 'grün', 'gruen', 'verde', 'v'],
  B: ['b', 'blue', 'bleu', 'blau', 'blu', 'azul'],
};

/** Words that stand beside the colour and say nothing about it. */
const SYSTEMS = new Set([
  'johnson',
  'cousins',
  'bessell',
  'bessel',
  'sdss',
  'sloan',
  'filter',
  'band',
]);

function channelOfWord(word: string): SetChannel | null {
  const plain = word.toLowerCase();
  return SET_CHANNELS.find((channel) => WORDS[channel].includes(plain)) ?? null;
}

function wordsOf(text: string): string[] {
  return text.split(/[^\p{L}]+/u).filter((word) => word !== '');
}

/** Channel of a FILTER value: every word must be the colour or a system's name. Null for any other filter. */
export function channelOfFilter(filter: string): SetChannel | null {
  let found: SetChannel | null = null;
  for (const word of wordsOf(filter.normalize('NFC'))) {
    if (SYSTEMS.has(word.toLowerCase())) continue;
    const channel = channelOfWord(word);
    if (channel === null || (found !== null && found !== channel)) return null;
    found = channel;
  }
  return found;
}

/** Channel that a file name tells: the only colour among its words; null when it names none or several. */
export function channelOfFileName(path: string): SetChannel | null {
  const channels = new Set<SetChannel>();
  for (const word of wordsOf(basename(path).normalize('NFC'))) {
    const channel = channelOfWord(word);
    if (channel !== null) channels.add(channel);
  }
  return channels.size === 1 ? ([...channels][0] as SetChannel) : null;
}

/** How a set is named in records and messages: as on the command line. */
export function setLabel(files: Record<SetChannel, string>): string {
  return SET_CHANNELS.map((channel) => `${channel}=${files[channel]}`).join(' ');
}
