/** Telescopes of which some come as records: the frames of the others are measured first, with light counted within the records' angle. */
import { compareRecords, recordRadiusArcsec } from '../compare/compare-records.js';
import {
  type RecordedFrame,
  type RecordLabel,
  recordFrame,
  recordLabel,
} from '../compare/record-label.js';
import type { Frame } from '../frame/frame.js';
import { openFrame } from '../frame/open.js';
import { scaleOf } from '../measure/frame-facts.js';
import { measureFrame } from '../measure/measure.js';
import type { Warning } from '../warnings.js';
import type { CompareLabelTask, CompareOutcome, CompareTask } from './compare-files.js';
import { errorData } from './measure-file.js';

/** One telescope of the command line: frames, or what was measured of them before. */
export interface RecordLabelTask extends CompareLabelTask {
  /** Frames of the record; null where `files` are frames. */
  record: readonly RecordedFrame[] | null;
}

export interface CompareRecordsTask extends CompareTask {
  labels: readonly RecordLabelTask[];
}

/** As `compareFiles`, star by star from records; there are no crops, since a record has no pixels. Never throws for what is in the files. */
export async function compareWithRecords(
  task: CompareRecordsTask,
  step: () => void | Promise<void> = () => {},
): Promise<CompareOutcome> {
  const warnings: Warning[] = [];
  const labels: RecordLabel[] = [];
  const radii: number[] = [];
  for (const { label, record, overrides, seeingArcsec } of task.labels) {
    if (record === null) continue;
    const given = {
      ...overrides,
      ...(seeingArcsec === null ? {} : { seeingArcsec }),
    };
    const read = recordLabel(label, record, given);
    for (const { result } of read.frames) {
      warnings.push(
        ...result.warnings.map((each) => ({ ...each, file: each.file ?? result.file })),
      );
    }
    radii.push(recordRadiusArcsec(read) ?? 0);
    labels.push(read);
  }
  const radius = Math.max(...radii);
  for (const each of task.labels) {
    if (each.record !== null) continue;
    labels.push(await measureLabel(each, task.options, radius > 0 ? radius : null, warnings, step));
  }
  const order = task.labels.map(({ label }) => label);
  labels.sort((a, b) => order.indexOf(a.label) - order.indexOf(b.label));
  const failed = labels.map(({ label, failed }) => ({ label, failed }));
  try {
    const comparison = compareRecords(labels, task.options);
    warnings.push(...comparison.warnings);
    return { comparison: { ...comparison, warnings }, error: null, crops: [], failed, warnings };
  } catch (error) {
    return { comparison: null, error: errorData(error), crops: [], failed, warnings };
  }
}

async function measureLabel(
  { label, files, overrides, seeingArcsec }: CompareLabelTask,
  options: CompareTask['options'],
  radiusArcsec: number | null,
  warnings: Warning[],
  step: () => void | Promise<void>,
): Promise<RecordLabel> {
  const out: RecordLabel = { label, frames: [], failed: [], hasPixels: true, seeingArcsec };
  for (const { file, fault } of files) {
    let frame: Frame | null = null;
    try {
      if (fault) {
        out.failed.push({ file, error: fault });
        continue;
      }
      frame = await openFrame(file, overrides);
      const scale = scaleOf(frame.metadata);
      const rMaxPx = radiusArcsec === null || scale === null ? null : radiusArcsec / scale;
      const { result, catalogue } = measureFrame(frame, { ...options, rMaxPx });
      warnings.push(...result.warnings.map((each) => ({ ...each, file })));
      out.frames.push(recordFrame(result, catalogue));
    } catch (error) {
      out.failed.push({ file, error: errorData(error) });
    } finally {
      frame?.rows.close();
      await step();
    }
  }
  return out;
}
