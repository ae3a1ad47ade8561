/** The error that opening a file ends with; a test fails where it opens. */
import { expect } from 'vitest';
import { FrameReadError } from '../../src/errors.js';
import type { FrameOverrides } from '../../src/frame/frame.js';
import { openFrame } from '../../src/frame/open.js';

export async function failure(
  path: string,
  overrides: FrameOverrides = {},
): Promise<FrameReadError> {
  const error = await openFrame(path, overrides).then(
    () => new Error(`${path} was opened`),
    (reason: unknown) => reason,
  );
  expect(error).toBeInstanceOf(FrameReadError);
  expect((error as FrameReadError).path).toBe(path);
  expect((error as FrameReadError).remedy).not.toBe('');
  return error as FrameReadError;
}
