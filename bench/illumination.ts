/** Light fall-off on simulated skies: `npm run bench:illumination [-- --quick] [--skies N] [--seed S] [--json] [--save]`.
 *
 * Skies behind lenses of known fall-off: quadratic, cos⁴, a circle with a hard edge, a circle beside the middle, sloping skies, nebulae, a
 * galaxy, a cluster, flats applied; noise from dark to bright, pedestals known exactly and with an error, mono and mosaic. Constants were
 * tuned on seed 1; the tables use seed 2. `--save` puts the tables of a whole run into docs/benchmarks.md. Targets that are missed are
 * printed as missed.
 */
import { environment, environmentLine } from './helpers/environment.js';
import { saveTables } from './helpers/save.js';
import { tableText } from './helpers/text-table.js';
import { outcomeOf, type SkyOutcome } from './illumination/outcomes.js';
import { testSky } from './illumination/skies.js';
import { illuminationTables } from './illumination/tables.js';

function numberAfter(args: readonly string[], name: string, fallback: number): number {
  const at = args.indexOf(name);
  return at >= 0 ? Number(args[at + 1]) : fallback;
}

function main(args: readonly string[]): void {
  const quick = args.includes('--quick');
  const skies = numberAfter(args, '--skies', quick ? 60 : 225);
  const seed = numberAfter(args, '--seed', 2);
  const start = performance.now();
  const outcomes: SkyOutcome[] = [];
  for (let index = 0; index < skies; index++) {
    outcomes.push(outcomeOf(testSky(seed, index)));
    if ((index + 1) % 30 === 0) {
      const seconds = ((performance.now() - start) / 1000).toFixed(0);
      process.stderr.write(`${seconds.padStart(5)} s  ${index + 1} of ${skies} skies\n`);
    }
  }
  const seconds = Math.round((performance.now() - start) / 1000);
  if (args.includes('--json')) {
    process.stdout.write(
      `${JSON.stringify({ environment: environment(), seed, seconds, outcomes })}\n`,
    );
    return;
  }
  const tables = illuminationTables(outcomes);
  const head = `${environmentLine(environment())}, ${skies} skies, seed ${seed}, ${seconds} s${quick ? ', quick' : ''}`;
  process.stdout.write(`${[head, ...tables.map(tableText)].join('\n\n')}\n`);
  if (args.includes('--save')) {
    if (quick) throw new Error('--save needs a whole run');
    const kept = tables.filter(({ detail }) => detail !== true);
    saveTables('illumination', [head, ...kept.map(tableText)].join('\n\n'));
  }
}

main(process.argv.slice(2));
