/** Entry point of the thread that decodes one camera raw file. Damaged files may make the decoder abort or run without end:
 * the thread can be ended from outside, and all its memory goes with it. It judges nothing: `decoder.ts` does.
 */
import { type MessagePort, parentPort, workerData } from 'node:worker_threads';
import { type LibRawInstance, loadLibRaw, type RawMetadata } from './libraw-module.js';

/** What the thread reports. `complaints` are the decoder's own words, one line each. */
export type DecodeReport =
  | { kind: 'ready' }
  | { kind: 'opened'; metadata: RawMetadata }
  | {
      kind: 'unpacked';
      metadata: RawMetadata;
      width: number;
      height: number;
      samples: Uint16Array;
      complaints: string[];
    }
  | { kind: 'failed'; stage: 'load' | 'open' | 'unpack'; complaints: string[] };

/** Longest list of complaints worth keeping. */
const MOST_COMPLAINTS = 5;

const port = parentPort as MessagePort;
const complaints: string[] = [];
let stage: 'load' | 'open' | 'unpack' = 'load';

function report(message: DecodeReport, transfer: ArrayBuffer[] = []): void {
  port.postMessage(message, transfer);
}

/** Only the fields of the interface: the decoder's record has hundreds, with text of any length. */
function pick(raw: LibRawInstance): RawMetadata {
  const all = raw.metadata(true);
  // Marked as turned by a quarter (bit 2), the record's width and height are those of the turned picture, all else is not.
  const turned = (all.flip & 4) !== 0;
  return {
    raw_width: all.raw_width,
    raw_height: all.raw_height,
    left_margin: all.left_margin,
    top_margin: all.top_margin,
    width: turned ? all.height : all.width,
    height: turned ? all.width : all.height,
    flip: all.flip,
    filters: all.filters,
    cdesc: String(all.cdesc),
    colors: all.colors,
    is_foveon: all.is_foveon,
    raw_count: all.raw_count,
    camera_make: String(all.camera_make),
    camera_model: String(all.camera_model),
    shutter: all.shutter,
    iso_speed: all.iso_speed,
    aperture: all.aperture,
    focal_len: all.focal_len,
    timestamp: Number(all.timestamp),
    color_data: { black: all.color_data.black, maximum: all.color_data.maximum },
  };
}

function unpack(raw: LibRawInstance): void {
  stage = 'unpack';
  // What it said about previews and notes while opening does not concern the samples.
  complaints.length = 0;
  const image = raw.rawImageData();
  if (image?.data === undefined) throw new Error('the decoder returned no samples');
  // The decoder's buffer may lie in shared memory, which cannot be handed over.
  const samples = image.data.buffer instanceof ArrayBuffer ? image.data : image.data.slice();
  const { raw_width: width, raw_height: height } = image;
  report({ kind: 'unpacked', metadata: pick(raw), width, height, samples, complaints }, [
    samples.buffer as ArrayBuffer,
  ]);
}

/** Reports a failure; what is thrown is often not an Error, and says nothing then. */
function guarded(action: () => void): void {
  try {
    action();
  } catch (error) {
    if (error instanceof Error) complaints.push(error.message);
    report({ kind: 'failed', stage, complaints });
  }
}

try {
  const { LibRaw } = await loadLibRaw((line) => {
    if (complaints.length < MOST_COMPLAINTS) complaints.push(line.slice(0, 200));
  });
  report({ kind: 'ready' });
  guarded(() => {
    stage = 'open';
    const raw = new LibRaw();
    raw.open(workerData as Uint8Array, {});
    port.once('message', () => {
      guarded(() => {
        unpack(raw);
        raw.delete();
      });
    });
    report({ kind: 'opened', metadata: pick(raw) });
  });
} catch (error) {
  complaints.push(error instanceof Error ? error.message : String(error));
  report({ kind: 'failed', stage, complaints });
}
