/** Entry point of a worker thread: measures one file per call. */
import { type MeasureOutcome, type MeasureTask, measureFile } from './measure-file.js';

/** Returns the outcome; the star columns are handed over to the main thread, not copied. */
export default async function work(task: MeasureTask): Promise<MeasureOutcome> {
  const outcome = await measureFile(task);
  if (outcome.catalogues.length === 0) return outcome;
  const { move, transferableSymbol, valueSymbol } = await import('piscina');
  const buffers = new Set(
    outcome.catalogues.flatMap(({ catalogue: { flags, columns } }) => [
      flags.buffer,
      ...Object.values(columns).map((each) => each.buffer),
    ]),
  );
  const handedOver = {
    get [transferableSymbol]() {
      return [...buffers];
    },
    get [valueSymbol]() {
      return outcome;
    },
  };
  return move(handedOver as never) as unknown as MeasureOutcome;
}
