/** What the user names becomes a list of frames: files, folders, patterns, and lists on standard input. */
import { lstatSync, readdirSync, readFileSync, realpathSync, statSync } from 'node:fs';
import { join } from 'node:path';
import { UsageError } from '../errors.js';
import { contentKind } from '../frame/open.js';
import type { Warning } from '../warnings.js';

/** An error of one name, as data: the other names go on. */
export interface InputFault {
  code: string;
  message: string;
  remedy: string;
}

/** One frame to measure, or a name that leads to none. */
export interface Input {
  file: string;
  fault: InputFault | null;
}

export interface Inputs {
  /** In the order named; within a folder or pattern by name, numbers by their value. */
  inputs: Input[];
  warnings: Warning[];
}

/** Sorts `sub2` before `sub10`, the same on every machine: no locale of the user's is asked. */
const BY_NAME = new Intl.Collator('en', { numeric: true });

/** Names of a list on standard input at most: a whole disk would not end otherwise. */
const MOST_NAMES = 1_000_000;
/** Files passed over that a warning names. */
const NAMED = 3;

/**
 * Expands the names. A folder stands for the camera frames in it (`recursive`: and in its folders; links to folders are not
 * followed); pictures that cameras and programs leave beside them (PNG, JPEG) are measured only when named. A name that is no file but
 * holds `*`, `?`, `[` or `{` is a pattern. `-` is a list of names on standard input, one a line, or separated by NUL characters.
 * The same file under several names is listed once.
 * @param readList reads standard input
 * @throws UsageError when `-` is named twice or standard input is a terminal
 */
export async function expandInputs(
  names: readonly string[],
  recursive: boolean,
  readList: () => string = readStandardInput,
): Promise<Inputs> {
  const inputs: Input[] = [];
  const warnings: Warning[] = [];
  const seen = new Set<string>();
  const add = (file: string): void => {
    const identity = realPath(file);
    if (seen.has(identity)) {
      warnings.push({
        code: 'same-file-twice',
        message: 'this file was named more than once; it is measured once and counts once',
        file,
      });
      return;
    }
    seen.add(identity);
    inputs.push({ file, fault: null });
  };
  if (names.filter((name) => name === '-').length > 1) {
    throw new UsageError('- (a list on standard input) is named more than once', 'name it once');
  }
  const all = names.flatMap((name) => (name === '-' ? splitList(readList()) : [name]));
  for (const name of all) {
    const kind = kindOf(name);
    if (kind === 'folder') {
      const found = framesIn(name, recursive);
      for (const file of found.frames) add(file);
      warnings.push(...found.warnings);
      if (found.frames.length === 0) inputs.push({ file: name, fault: emptyFolder(found) });
    } else if (kind === 'nothing' && /[*?[{]/.test(name)) {
      const files = await matches(name);
      for (const file of files) add(file);
      if (files.length === 0) {
        inputs.push({
          file: name,
          fault: {
            code: 'no-match',
            message: 'no file matches this pattern',
            remedy: 'check the folder and the ending; quote the pattern if the shell changes it',
          },
        });
      }
    } else add(name);
  }
  return { inputs, warnings };
}

function kindOf(name: string): 'folder' | 'other' | 'nothing' {
  try {
    return statSync(name).isDirectory() ? 'folder' : 'other';
  } catch {
    return 'nothing';
  }
}

/** The path with links resolved; a path that leads nowhere stands for itself. */
function realPath(file: string): string {
  try {
    return realpathSync(file);
  } catch {
    return file;
  }
}

interface FolderContent {
  frames: string[];
  /** Files that are no frames. */
  others: string[];
  pictures: string[];
  /** Folders inside that were not entered. */
  folders: number;
  warnings: Warning[];
}

function framesIn(folder: string, recursive: boolean): FolderContent {
  const content: FolderContent = { frames: [], others: [], pictures: [], folders: 0, warnings: [] };
  walk(folder, recursive, content);
  const { others, pictures, warnings } = content;
  if (content.frames.length > 0) {
    if (others.length > 0) {
      warnings.push({
        code: 'no-frames-passed-over',
        message: `passed over ${some(others)}: not a frame that is read`,
        file: folder,
      });
    }
    if (pictures.length > 0) {
      warnings.push({
        code: 'pictures-passed-over',
        message: `passed over ${some(pictures)}: pictures beside frames are measured only when named`,
        file: folder,
      });
    }
  }
  return content;
}

function walk(folder: string, recursive: boolean, content: FolderContent): void {
  let entries: string[];
  try {
    entries = readdirSync(folder);
  } catch (cause) {
    content.warnings.push({
      code: 'folder-unreadable',
      message: `this folder cannot be read (${(cause as NodeJS.ErrnoException).code ?? 'unknown fault'}); it is left out`,
      file: folder,
    });
    return;
  }
  const folders: string[] = [];
  for (const entry of entries.sort((a, b) => BY_NAME.compare(a, b) || (a < b ? -1 : 1))) {
    if (entry.startsWith('.')) continue;
    const path = join(folder, entry);
    let status: ReturnType<typeof statSync>;
    try {
      status = statSync(path);
    } catch {
      content.others.push(path);
      continue;
    }
    if (status.isDirectory()) folders.push(path);
    else {
      const kind = status.isFile() ? contentKind(path) : null;
      if (kind === 'frame') content.frames.push(path);
      else if (kind === 'picture') content.pictures.push(path);
      else content.others.push(path);
    }
  }
  if (!recursive) content.folders += folders.length;
  else for (const inner of folders) if (!isLink(inner)) walk(inner, true, content);
}

/** A link to a folder is not followed: it may lead round in a circle. */
function isLink(path: string): boolean {
  return lstatSync(path).isSymbolicLink();
}

function emptyFolder({ pictures, folders, others }: FolderContent): InputFault {
  const remedy =
    pictures.length > 0
      ? `to measure its ${pictures.length === 1 ? 'picture' : 'pictures'} all the same, name the files`
      : folders > 0
        ? 'to look into its folders as well, add --recursive'
        : 'name a folder that holds frames, or the files themselves';
  const holds =
    pictures.length > 0
      ? ` (only ${some(pictures)})`
      : others.length > 0
        ? ` (only ${some(others)})`
        : '';
  return { code: 'folder', message: `no frame in this folder${holds}`, remedy };
}

/** The first names and the number of the rest. */
function some(paths: readonly string[]): string {
  const names = paths.slice(0, NAMED).map((path) => path.split(/[\\/]/).at(-1) ?? path);
  const rest = paths.length - names.length;
  return rest > 0 ? `${names.join(', ')} and ${rest} more` : names.join(', ');
}

/** Files that match the pattern, by name. */
async function matches(pattern: string): Promise<string[]> {
  const { glob } = await import('tinyglobby');
  const files = await glob(pattern.replaceAll('\\', '/'), {
    onlyFiles: true,
    followSymbolicLinks: false,
    expandDirectories: false,
    absolute: false,
  });
  return files.sort((a, b) => BY_NAME.compare(a, b) || (a < b ? -1 : 1));
}

/** One name a line; where the list holds NUL characters (find -print0), these separate and lines may be part of a name. */
function splitList(text: string): string[] {
  const names = text.includes('\0') ? text.split('\0') : text.split(/\r?\n/);
  const list = names.filter((name) => name.trim() !== '');
  if (list.length > MOST_NAMES) {
    throw new UsageError(
      `the list on standard input holds more than ${MOST_NAMES} names`,
      'measure in portions',
    );
  }
  return list;
}

function readStandardInput(): string {
  if (process.stdin.isTTY) {
    throw new UsageError(
      '- reads a list of files from standard input, but nothing is piped in',
      'for example: ls *.fits | bluerim measure -',
    );
  }
  return readFileSync(0, 'utf8');
}
