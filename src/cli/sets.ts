/** `--set`: which mono frames form a red, green and blue set, by the user's word, by FILTER, or by file name. */
import { statSync } from 'node:fs';
import { ToolError, UsageError } from '../errors.js';
import {
  channelOfFileName,
  channelOfFilter,
  SET_CHANNELS,
  type SetChannel,
} from '../frame/filter-name.js';
import type { FrameOverrides } from '../frame/frame.js';
import { openFrame } from '../frame/open.js';
import type { Warning } from '../warnings.js';
import { expandInputs, type Inputs } from './inputs.js';

/** Paths of one set. */
export type SetFiles = Record<SetChannel, string>;

/** What decides a frame's colour within a folder. */
export type FilterFrom = 'header' | 'name';

const HOW = 'name three mono frames (--set R=a.fits G=b.fits B=c.fits) or a folder (--set night)';

/** Values of --set sorted into sets named frame by frame and folders. */
export interface SetRequest {
  sets: SetFiles[];
  folders: string[];
}

/**
 * Reads the values of `--set`. A channel named again begins the next set.
 * @throws UsageError for anything but R=, G=, B= and folders, and for a set without all three
 */
export function readSetValues(values: readonly string[]): SetRequest {
  const sets: Partial<SetFiles>[] = [];
  const folders: string[] = [];
  for (const value of values) {
    const [, letter, path] = /^([RGB])=(.+)$/is.exec(value) ?? [];
    if (letter === undefined || path === undefined) {
      if (!isFolder(value)) throw new UsageError(`--set ${value}: no channel and no folder`, HOW);
      folders.push(value);
      continue;
    }
    const channel = letter.toUpperCase() as SetChannel;
    const current = sets.at(-1);
    if (current === undefined || current[channel] !== undefined) sets.push({ [channel]: path });
    else current[channel] = path;
  }
  for (const set of sets) {
    const missing = SET_CHANNELS.filter((channel) => set[channel] === undefined);
    if (missing.length > 0) {
      throw new UsageError(`--set lacks ${missing.join(' and ')}`, HOW);
    }
  }
  return { sets: sets as SetFiles[], folders };
}

function isFolder(path: string): boolean {
  try {
    return statSync(path).isDirectory();
  } catch {
    return false;
  }
}

interface Candidate {
  file: string;
  channel: SetChannel;
  object: string;
  /** ISO 8601, or '' when unknown: then the order of names decides. */
  dateObs: string;
}

/**
 * Sets within a folder: mono frames grouped by target and colour; the first red, green and blue in time form the first set, and so on.
 * FILTER decides; a file name that says otherwise is reported, and decides when there is no FILTER or `filterFrom` is 'name'.
 */
export async function setsOfFolder(
  folder: string,
  recursive: boolean,
  overrides: FrameOverrides,
  filterFrom: FilterFrom,
): Promise<{ sets: SetFiles[]; inputs: Inputs }> {
  const inputs = await expandInputs([folder], recursive);
  const { warnings } = inputs;
  const candidates: Candidate[] = [];
  for (const { file, fault } of inputs.inputs) {
    if (fault !== null) continue;
    const candidate = await candidateOf(file, overrides, filterFrom, warnings);
    if (candidate !== null) candidates.push(candidate);
  }
  const sets: SetFiles[] = [];
  for (const object of new Set(candidates.map((each) => each.object))) {
    const of = (channel: SetChannel): Candidate[] =>
      candidates
        .filter((each) => each.object === object && each.channel === channel)
        .sort((a, b) => (a.dateObs < b.dateObs ? -1 : a.dateObs > b.dateObs ? 1 : 0));
    const lists = { R: of('R'), G: of('G'), B: of('B') };
    const complete = Math.min(...SET_CHANNELS.map((channel) => lists[channel].length));
    for (let i = 0; i < complete; i++) {
      sets.push({
        R: (lists.R[i] as Candidate).file,
        G: (lists.G[i] as Candidate).file,
        B: (lists.B[i] as Candidate).file,
      });
    }
    const counts = SET_CHANNELS.map((channel) => `${lists[channel].length} ${channel}`).join(', ');
    const rest = SET_CHANNELS.reduce((sum, channel) => sum + lists[channel].length - complete, 0);
    if (rest > 0) {
      warnings.push({
        code: 'set-incomplete',
        message: `${counts}${object === '' ? '' : ` of '${object}'`}: ${rest} frame${rest === 1 ? ' has' : 's have'} no partner and ${rest === 1 ? 'is' : 'are'} left out`,
        file: folder,
      });
    }
  }
  return { sets, inputs };
}

async function candidateOf(
  file: string,
  overrides: FrameOverrides,
  filterFrom: FilterFrom,
  warnings: Warning[],
): Promise<Candidate | null> {
  const leave = (code: string, message: string): null => {
    warnings.push({ code, message, file });
    return null;
  };
  try {
    const frame = await openFrame(file, overrides);
    frame.rows.close();
    const { filter, object, dateObs } = frame.metadata;
    if (frame.layout !== 'mono') return leave('not-mono', 'not a mono frame: left out of the sets');
    const byHeader = filter === null ? null : channelOfFilter(filter);
    const byName = channelOfFileName(file);
    if (filter !== null && byName !== null && byHeader !== byName) {
      const used = filterFrom === 'name' ? 'the name' : 'the header';
      warnings.push({
        code: 'filter-contradiction',
        message: `the header names the filter '${filter}', the file name says ${byName}; ${used} is used${filterFrom === 'name' ? '' : ' (--filter-from name changes that)'}`,
        file,
      });
    }
    const channel = filterFrom === 'name' || filter === null ? (byName ?? byHeader) : byHeader;
    if (channel === null) {
      return leave(
        'no-set-filter',
        filter === null
          ? 'neither header nor name tells the filter: left out of the sets'
          : `filter '${filter}' is not red, green or blue: left out of the sets`,
      );
    }
    return { file, channel, object: object ?? '', dateObs: dateObs ?? '' };
  } catch (error) {
    if (!(error instanceof ToolError)) throw error;
    return leave(error.code, `${error.message}: left out of the sets`);
  }
}
