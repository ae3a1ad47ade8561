/** What a person knows about glasses and camera, as JSON files: read and checked. */
import { readFileSync } from 'node:fs';
import * as z from 'zod';
import { UsageError } from '../errors.js';
import type { ResponseTable } from '../optics/colour-bands.js';
import { abbeNumber, F2, type Glass, N_BK7, refractiveIndex } from '../optics/glass.js';
import type { GlassPair } from '../optics/lens-expectation.js';

/** The range over which a lens is computed. */
const NEEDED_NM = [380, 720] as const;
const BUILT_IN: Readonly<Record<string, Glass>> = { [N_BK7.name]: N_BK7, [F2.name]: F2 };
/** Pairs whose Abbe numbers differ by less cannot be made achromatic with lenses of any sense. */
const LEAST_ABBE_DIFFERENCE = 3;
/** Of optical glasses and crystals in visible light. */
const INDEX_RANGE = [1.2, 3] as const;

const triple = z.tuple([z.number(), z.number(), z.number()]);
const glass = z.union([
  z.string(),
  z.strictObject({
    name: z.string().min(1).max(40),
    b: triple,
    c: triple,
    rangeNm: z.tuple([z.number().positive(), z.number().positive()]),
  }),
]);
const glassFile = z.strictObject({
  crown: glass,
  flint: glass,
  correctedNm: z.tuple([z.number(), z.number()]).optional(),
});

const column = z.array(z.number().min(0)).min(2).max(2000);
const responseFile = z.strictObject({ wavelengthNm: column, R: column, G: column, B: column });

const GLASS_HELP =
  'as in {"crown": "N-BK7", "flint": {"name": "…", "b": [B1, B2, B3], "c": [C1, C2, C3], "rangeNm": [320, 2500]}}, C in µm²';
const RESPONSE_HELP =
  'as in {"wavelengthNm": [400, 410, …], "R": […], "G": […], "B": […]}: rising wavelengths, relative response per photon, lists of one length';

function readJson<T>(file: string, schema: z.ZodType<T>, help: string): T {
  let data: unknown;
  try {
    data = JSON.parse(readFileSync(file, 'utf8'));
  } catch (cause) {
    const code = (cause as NodeJS.ErrnoException).code;
    if (code === 'ENOENT')
      throw new UsageError(`${file}: no such file`, `give a JSON file, ${help}`);
    throw new UsageError(
      code === undefined
        ? `${file}: this is not JSON (${(cause as Error).message})`
        : `${file}: cannot be read (${code})`,
      `give a JSON file, ${help}`,
    );
  }
  const result = schema.safeParse(data);
  if (result.success) return result.data;
  const issue = result.error.issues[0];
  const where = issue?.path.join('.') || 'the file';
  throw new UsageError(
    `${file}: ${where}: ${issue?.message ?? 'not as expected'}`,
    `write it ${help}`,
  );
}

function checkedGlass(file: string, part: string, given: z.infer<typeof glass>): Glass {
  if (typeof given === 'string') {
    const known = BUILT_IN[given];
    if (known) return known;
    throw new UsageError(
      `${file}: ${part}: no glass “${given}” is built in`,
      `built in are ${Object.keys(BUILT_IN).join(' and ')}; give others by their Sellmeier coefficients`,
    );
  }
  const [low, high] = given.rangeNm;
  if (!(low <= NEEDED_NM[0] && high >= NEEDED_NM[1])) {
    throw new UsageError(
      `${file}: ${part}: the coefficients hold from ${low} to ${high} nm; needed: ${NEEDED_NM[0]} to ${NEEDED_NM[1]} nm`,
      'give the range of the data sheet as rangeNm; a glass that is not known down to 380 nm cannot be computed in blue',
    );
  }
  let before = Number.POSITIVE_INFINITY;
  for (let nm = NEEDED_NM[0]; nm <= NEEDED_NM[1]; nm += 10) {
    const index = refractiveIndex(given, nm);
    if (!(index > INDEX_RANGE[0] && index < INDEX_RANGE[1] && index < before)) {
      throw new UsageError(
        `${file}: ${part}: an index of ${index.toPrecision(5)} at ${nm} nm; allowed: ${INDEX_RANGE.join(' to ')}, falling with wavelength`,
        'check the six coefficients: b has no unit, c is in µm²',
      );
    }
    before = index;
  }
  return given;
}

/**
 * A pair of glasses from a JSON file.
 * @throws UsageError for a file that cannot be read or glasses that make no lens
 */
export function readGlasses(file: string): GlassPair {
  const data = readJson(file, glassFile, GLASS_HELP);
  const crown = checkedGlass(file, 'crown', data.crown);
  const flint = checkedGlass(file, 'flint', data.flint);
  const difference = abbeNumber(crown) - abbeNumber(flint);
  if (!(difference >= LEAST_ABBE_DIFFERENCE)) {
    throw new UsageError(
      `${file}: Abbe numbers ${abbeNumber(crown).toFixed(1)} (crown) and ${abbeNumber(flint).toFixed(1)} (flint)`,
      `the crown’s must be larger by at least ${LEAST_ABBE_DIFFERENCE}: exchange the glasses or choose others`,
    );
  }
  return {
    crown,
    flint,
    ...(data.correctedNm && {
      correctedNm: correctedColours(data.correctedNm, `${file}: correctedNm`),
    }),
  };
}

/** Colours brought together must differ, within visible light. @throws UsageError */
export function correctedColours(pair: readonly [number, number], from: string): [number, number] {
  const [a, b] = [Math.min(...pair), Math.max(...pair)];
  if (!(a >= NEEDED_NM[0] && b <= NEEDED_NM[1] && b - a >= 50)) {
    throw new UsageError(
      `${from}: ${pair.join(' and ')} nm; allowed: ${NEEDED_NM[0]} to ${NEEDED_NM[1]} nm, at least 50 nm apart`,
      'usual are 486.13 and 656.27 nm (F and C)',
    );
  }
  return [a, b];
}

/**
 * A camera's response from a JSON file.
 * @throws UsageError for a file that cannot be read or a table that makes no colours
 */
export function readResponse(file: string): ResponseTable {
  const table = readJson(file, responseFile, RESPONSE_HELP);
  const { wavelengthNm } = table;
  const wrong = (fault: string): never => {
    throw new UsageError(`${file}: ${fault}`, `write it ${RESPONSE_HELP}`);
  };
  for (const band of ['R', 'G', 'B'] as const) {
    if (table[band].length !== wavelengthNm.length) {
      wrong(`${band} has ${table[band].length} entries, wavelengthNm ${wavelengthNm.length}`);
    }
    const seen = table[band].some(
      (value, i) => value > 0 && wavelengthNm[i] > NEEDED_NM[0] && wavelengthNm[i] < NEEDED_NM[1],
    );
    if (!seen) wrong(`${band} sees nothing between ${NEEDED_NM[0]} and ${NEEDED_NM[1]} nm`);
  }
  if (wavelengthNm.some((nm, i) => i > 0 && !(nm > wavelengthNm[i - 1]))) {
    wrong('the wavelengths do not rise');
  }
  return table;
}
