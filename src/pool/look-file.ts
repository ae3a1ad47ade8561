/** One frame of a night from path to record. Runs in the main thread and in workers alike; never throws. */
import { createHash } from 'node:crypto';
import { createReadStream } from 'node:fs';
import { stat } from 'node:fs/promises';
import type { Frame, FrameOverrides } from '../frame/frame.js';
import { openFrame } from '../frame/open.js';
import { type LookOptions, lookAtFrame } from '../grade/look.js';
import type { NightFrame } from '../grade/night-frame.js';
import type { FrameResult } from '../measure/result.js';
import { type Runner, runLanes, threadRunner } from './lanes.js';
import { errorData } from './measure-file.js';

/** What to do with one file. Plain data: it travels to a worker. */
export interface LookTask {
  file: string;
  /** A name that led to no file: it becomes a failed record in its place. */
  fault: NonNullable<FrameResult['error']> | null;
  options: LookOptions;
  overrides: FrameOverrides;
  /** Also read the whole file for its SHA-256. */
  verify: boolean;
}

/** What tells a file from an earlier one of the same name. */
export interface FileIdentity {
  bytes: number | null;
  modifiedMs: number | null;
  sha256: string | null;
}

/** Size and time of a file, and its digest when asked for; nulls where it cannot be read. */
export async function identityOf(file: string, verify: boolean): Promise<FileIdentity> {
  try {
    const { size, mtimeMs } = await stat(file);
    const sha256 = verify ? await digestOf(file) : null;
    return { bytes: size, modifiedMs: Math.round(mtimeMs), sha256 };
  } catch {
    return { bytes: null, modifiedMs: null, sha256: null };
  }
}

/** SHA-256 of a file's content, in hexadecimal. @throws whatever reading throws */
export async function digestOf(file: string): Promise<string> {
  const hash = createHash('sha256');
  for await (const chunk of createReadStream(file)) hash.update(chunk as Buffer);
  return hash.digest('hex');
}

/** Opens, looks and closes. A fault becomes a failed record, so that other frames go on. */
export async function lookAtFile(task: LookTask): Promise<NightFrame> {
  if (task.fault !== null) return failedRecord(task.file, NO_IDENTITY, task.fault);
  const identity = await identityOf(task.file, task.verify);
  let frame: Frame | null = null;
  try {
    frame = await openFrame(task.file, task.overrides);
    return { ...lookAtFrame(frame, task.options), ...identity };
  } catch (error) {
    return failedRecord(task.file, identity, errorData(error));
  } finally {
    frame?.rows.close();
  }
}

const NO_IDENTITY: FileIdentity = { bytes: null, modifiedMs: null, sha256: null };

function failedRecord(
  file: string,
  identity: FileIdentity,
  error: NonNullable<FrameResult['error']>,
): NightFrame {
  return {
    file,
    ...identity,
    status: 'failed',
    error,
    width: null,
    height: null,
    layout: null,
    metadata: null,
    imageType: 'light',
    pierSide: null,
    ambientTemperatureC: null,
    startMs: null,
    scaleArcsecPerPx: null,
    starsFound: 0,
    starsUsed: 0,
    fwhmPx: null,
    ellipticity: null,
    elongationAngleDeg: null,
    backgroundAdu: null,
    noiseAdu: null,
    starAreaPx: null,
    blueMinusRedPercent: null,
    trails: [],
    stars: { x: [], y: [], fluxAdu: [], fluxErrorAdu: [] },
    warnings: [],
  };
}

/**
 * Looks at every file on `jobs` threads (1 = this one). A record does not depend on `jobs`. Files not begun when `stopped` turned true
 * have no record.
 */
export async function lookAtAll(
  tasks: readonly LookTask[],
  jobs: number,
  listener: (record: NightFrame, index: number) => void | Promise<void>,
  stopped: () => boolean,
): Promise<(NightFrame | undefined)[]> {
  const threads = Math.min(jobs, tasks.length);
  const runner: Runner<LookTask, NightFrame> =
    threads < 2
      ? { run: lookAtFile, end: async () => {} }
      : await threadRunner('./look-worker.js', threads);
  return runLanes(tasks, threads, runner, listener, stopped);
}
