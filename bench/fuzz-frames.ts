/** Damaged files: `npm run fuzz -- [--count 10000] [--seed 1] [--group fits|pictures] [--only N]`.
 *
 * Each input is a file of the fixtures with bits flipped, parts cut out or repeated, header cards changed. It must be read, or refused with
 * a proper error, within the time and memory below. Prints counts and findings; exits with 1 when there are any. An input is made again
 * with `--only` and its number.
 */
import { type ChildProcess, fork } from 'node:child_process';
import { fileURLToPath } from 'node:url';
import { parseArgs } from 'node:util';
import type { Outcome } from './fuzz/run-one.js';
import { GROUPS } from './fuzz/seeds.js';
import { environment, environmentLine } from './helpers/environment.js';

const TIME_LIMIT_MS = 5000;
const MEMORY_LIMIT_MIB = 600;
const CHILD = fileURLToPath(new URL('./fuzz/run-one.ts', import.meta.url));

const { values } = parseArgs({
  options: {
    count: { type: 'string', default: '10000' },
    seed: { type: 'string', default: '1' },
    group: { type: 'string', default: 'fits' },
    only: { type: 'string' },
  },
});
const group = GROUPS.find((name) => name === values.group);
if (group === undefined) throw new Error(`--group is one of ${GROUPS.join(', ')}`);
const seed = Number(values.seed);
const first = values.only === undefined ? 0 : Number(values.only);
const count = values.only === undefined ? Number(values.count) : 1;

async function start(): Promise<ChildProcess> {
  const child = fork(CHILD, [group as string], { execArgv: ['--import', 'tsx'] });
  await new Promise((resolve) => {
    child.once('message', resolve);
  });
  return child;
}

/** The outcome; a process that does not answer in time, or dies, is a finding. */
function ask(child: ChildProcess, number: number): Promise<Outcome> {
  const lost = (result: string): Outcome => {
    return { number, format: '?', name: '?', result: 'FAULT', message: result, memory: 0 };
  };
  return new Promise((resolve) => {
    const timer = setTimeout(() => {
      child.kill('SIGKILL');
    }, TIME_LIMIT_MS);
    const settle = (outcome: Outcome) => {
      clearTimeout(timer);
      child.off('message', settle);
      child.off('exit', onExit);
      resolve(outcome);
    };
    const onExit = (code: number | null, signal: string | null) => {
      settle(lost(signal === 'SIGKILL' ? `no answer within ${TIME_LIMIT_MS} ms` : `died: ${code}`));
    };
    child.on('message', settle);
    child.on('exit', onExit);
    child.send({ number, seed });
  });
}

async function main(): Promise<void> {
  const counts = new Map<string, number>();
  const findings: Outcome[] = [];
  let child = await start();
  let peak = 0;
  for (let number = first; number < first + count; number++) {
    const outcome = await ask(child, number);
    const key = `${outcome.format}: ${outcome.result}`;
    counts.set(key, (counts.get(key) ?? 0) + 1);
    peak = Math.max(peak, outcome.memory);
    if (outcome.result === 'FAULT') findings.push(outcome);
    if (outcome.memory > MEMORY_LIMIT_MIB) {
      findings.push({ ...outcome, message: `${outcome.memory} MiB` });
      child.kill();
    }
    if (child.exitCode !== null || child.killed) child = await start();
  }
  child.kill();
  console.log(environmentLine(environment()));
  console.log(
    `${count} inputs of group ${group}, seed ${seed}, peak memory ${peak} MiB, ${findings.length} findings`,
  );
  for (const [key, times] of [...counts].sort()) console.log(`  ${key}: ${times}`);
  for (const { number, name, message } of findings.slice(0, 20)) {
    console.log(`finding: --group ${group} --seed ${seed} --only ${number} (${name}): ${message}`);
  }
  if (findings.length > 0) process.exitCode = 1;
}

await main();
