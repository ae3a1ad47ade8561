/** Where test frames are: the small ones that travel with the repository, and the larger set beside it, which may be missing. */
import { existsSync } from 'node:fs';
import { basename, join } from 'node:path';
import { fileURLToPath } from 'node:url';

const ROOT = fileURLToPath(new URL('../../', import.meta.url));
const SHARED = join(ROOT, '..', 'shared', 'data');

/** Path of a data file such as '2_cfa/dslr_cfa_200.fits', from fixtures/frames or the shared set; null when in neither. */
export function findData(name: string): string | null {
  const own = join(ROOT, 'fixtures', 'frames', basename(name));
  if (existsSync(own)) return own;
  const shared = join(SHARED, name);
  return existsSync(shared) ? shared : null;
}

/** Path of a file in fixtures/. */
export function fixture(name: string): string {
  return join(ROOT, 'fixtures', name);
}
