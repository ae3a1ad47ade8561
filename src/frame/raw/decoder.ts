/** Decodes a camera raw file in a thread of its own, within a time limit.
 *
 * One thread per file: a damaged file can make the decoder abort or loop, and its memory never shrinks while it lives. After files of 24
 * megapixels a decoder that is kept holds about 300 MB, one that ends with its thread leaves 80 to 170 MB in use (the program itself
 * takes 50); starting it costs 0.1 s.
 */
import { Worker } from 'node:worker_threads';
import { FrameReadError } from '../../errors.js';
import type { DecodeReport } from './decode-worker.js';
import type { RawMetadata } from './libraw-module.js';

/** Seconds for each of the two steps, plus some for every megabyte. On an idle machine a small file takes 0.2 s and lossless
 * compression 0.05 s per megabyte; overloaded ones were seen to take twenty times as long.
 */
const BASE_SECONDS = 10;
const SECONDS_PER_MEGABYTE = 1;
/** Until the thread has loaded the decoder: 0.1 s on an idle machine. */
const LOAD_SECONDS = 60;

/** Compiled beside this file. From the sources (tests), the one in dist/: Node 20 runs no TypeScript in threads. */
const WORKER = import.meta.url.endsWith('.ts')
  ? new URL('../../../dist/frame/raw/decode-worker.js', import.meta.url)
  : new URL('./decode-worker.js', import.meta.url);

/** A decoded file. */
export interface DecodedRaw {
  /** As known after decoding: levels may have become better. */
  metadata: RawMetadata;
  /** Of the raw area, margins included. */
  width: number;
  height: number;
  samples: Uint16Array;
}

/**
 * Decodes the file in `bytes`, whose buffer is handed over and lost to the caller.
 * @param inspect is told what the file is before anything large is allocated; it throws to stop there
 * @param seconds time limit of each step; by default it grows with the file
 * @throws FrameReadError `damaged`, `too-slow` or `no-decoder`; whatever `inspect` throws
 */
export async function decodeRaw(
  path: string,
  bytes: Uint8Array<ArrayBuffer>,
  inspect: (metadata: RawMetadata) => void,
  seconds: number = BASE_SECONDS + (SECONDS_PER_MEGABYTE * bytes.length) / 1e6,
): Promise<DecodedRaw> {
  const worker = new Worker(WORKER, {
    workerData: bytes,
    transferList: [bytes.buffer],
    // The decoder prints only through the hook it is given; nothing else may reach the terminal.
    stdout: true,
    stderr: true,
  });
  let timer: NodeJS.Timeout | undefined;
  try {
    return await new Promise<DecodedRaw>((resolve, reject) => {
      const startClock = (limit = seconds) => {
        clearTimeout(timer);
        timer = setTimeout(() => reject(tooSlow(path, limit)), 1000 * limit);
      };
      startClock(LOAD_SECONDS);
      worker.on('message', (report: DecodeReport) => {
        switch (report.kind) {
          case 'ready':
            startClock();
            return;
          case 'opened':
            try {
              inspect(report.metadata);
            } catch (error) {
              reject(error);
              return;
            }
            startClock();
            worker.postMessage('unpack');
            return;
          case 'unpacked':
            // A complaint means that some samples are not those of the sensor, though the rest was decoded.
            if (report.complaints.length > 0) reject(damaged(path, 'unpack', report.complaints));
            else resolve(report);
            return;
          case 'failed':
            reject(
              report.stage === 'load'
                ? noDecoder(path, report.complaints)
                : damaged(path, report.stage, report.complaints),
            );
        }
      });
      worker.on('error', (error) => reject(noDecoder(path, [error.message])));
      worker.on('exit', () => reject(damaged(path, 'unpack', ['the decoder ended early'])));
    });
  } finally {
    clearTimeout(timer);
    await worker.terminate();
  }
}

function damaged(path: string, stage: 'open' | 'unpack', complaints: string[]): FrameReadError {
  const words = complaints.map((line) => line.replace(/^unknown file: /, '')).join('; ');
  const what =
    stage === 'open'
      ? 'the camera raw decoder cannot make sense of the file'
      : 'the samples cannot be decoded';
  return new FrameReadError(
    'damaged',
    path,
    `${what}${words === '' ? '' : ` (${words})`}: it is damaged, cut off, or of a kind that is not known`,
    'copy it from the camera again; if it opens elsewhere, convert it to DNG without lossy compression',
  );
}

function tooSlow(path: string, seconds: number): FrameReadError {
  return new FrameReadError(
    'too-slow',
    path,
    `the camera raw decoder did not finish within ${Math.round(seconds)} s; the file is probably damaged`,
    'copy it from the camera again, or convert it to DNG without lossy compression',
  );
}

function noDecoder(path: string, complaints: string[]): FrameReadError {
  return new FrameReadError(
    'no-decoder',
    path,
    `the camera raw decoder could not be started (${complaints.join('; ')})`,
    'install the package again with npm install, and free some memory',
  );
}
