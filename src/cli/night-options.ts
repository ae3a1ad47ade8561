/** How a night is judged, as options of `grade` and `merge`. */
import { realpathSync } from 'node:fs';
import { resolve } from 'node:path';
import { type Command, InvalidArgumentError, Option } from 'commander';
import type { GradeOptions } from '../grade/result.js';
import { notNegative, positive, wholeNumber } from './options.js';

const DECIDING = 'Deciding:';

export interface LimitFlags {
  strictness: GradeOptions['strictness'];
  maxFwhm?: number;
  maxFwhmArcsec?: number;
  maxEllipticity?: number;
  minTransparency?: number;
  maxBackground?: number;
  minStars?: number;
  reference?: string;
}

export function addLimitOptions(command: Command): void {
  const add = (option: Option): void => {
    command.addOption(option.helpGroup(DECIDING));
  };
  add(
    new Option('--strictness <how>', 'how far from the night’s usual a frame may be')
      .choices(['lenient', 'normal', 'strict'])
      .default('normal'),
  );
  const limits: [string, string, (text: string) => number][] = [
    ['--max-fwhm <px>', 'drop frames with wider stars, px', positive],
    ['--max-fwhm-arcsec <arcsec>', 'the same in arcsec, where the scale is known', positive],
    ['--max-ellipticity <e>', 'drop frames with more elongated stars, (a − b)/(a + b)', positive],
    [
      '--min-transparency <share>',
      'drop frames with less starlight than this share of the reference',
      notNegative,
    ],
    ['--max-background <ADU>', 'drop frames with a brighter sky, ADU', positive],
    ['--min-stars <n>', 'drop frames with fewer measured stars', wholeNumber(0)],
  ];
  for (const [flags, meaning, parse] of limits) add(new Option(flags, meaning).argParser(parse));
  add(
    new Option(
      '--reference <file>',
      'hold the frames of its group against this one (default: chosen and explained)',
    ),
  );
}

/** `2/5` → part 2 of 5. */
export function shardOf(text: string): { part: number; of: number } {
  const match = /^(\d{1,5})\/(\d{1,5})$/.exec(text.trim());
  const part = Number(match?.[1]);
  const of = Number(match?.[2]);
  if (match === null || part < 1 || part > of) {
    throw new InvalidArgumentError('Give k/n with 1 ≤ k ≤ n, as 1/4.');
  }
  return { part, of };
}

/** @param files names of the frames, one of which `--reference` may name */
export function gradeOptions(flags: LimitFlags, files: readonly string[] = []): GradeOptions {
  return {
    strictness: flags.strictness,
    maxFwhmPx: flags.maxFwhm ?? null,
    maxFwhmArcsec: flags.maxFwhmArcsec ?? null,
    maxEllipticity: flags.maxEllipticity ?? null,
    minTransparency: flags.minTransparency ?? null,
    maxBackgroundAdu: flags.maxBackground ?? null,
    minStars: flags.minStars ?? null,
    reference: referenceAmong(flags.reference ?? null, files),
  };
}

/** The name under which the reference frame is among the files: another spelling of its path is the same frame. */
function referenceAmong(wanted: string | null, files: readonly string[]): string | null {
  if (wanted === null || files.includes(wanted)) return wanted;
  const place = (file: string): string => {
    try {
      return realpathSync(file);
    } catch {
      return resolve(file);
    }
  };
  const sought = place(wanted);
  return files.find((file) => place(file) === sought) ?? wanted;
}
