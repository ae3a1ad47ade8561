/** Runs the real program in a child process, stdout and stderr apart. */
import { type SpawnOptions, spawn } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { onTestFinished } from 'vitest';

export const ROOT = fileURLToPath(new URL('../..', import.meta.url));
export const BIN = join(ROOT, 'bin', 'bluerim.js');

export interface Run {
  code: number | null;
  signal: NodeJS.Signals | null;
  stdout: string;
  stderr: string;
}

/** Runs `bluerim` with `args`; never throws for a failing command. */
export function bluerim(
  args: readonly string[],
  options: SpawnOptions & { bin?: string } = {},
): Promise<Run> {
  const { bin = BIN, env, ...rest } = options;
  return new Promise((resolve, reject) => {
    const child = spawn(process.execPath, [bin, ...args], {
      ...rest,
      // The outcome must not depend on who runs the tests.
      env: { PATH: process.env.PATH, ...env },
      stdio: ['ignore', 'pipe', 'pipe'],
    });
    let stdout = '';
    let stderr = '';
    child.stdout?.setEncoding('utf8').on('data', (text: string) => {
      stdout += text;
    });
    child.stderr?.setEncoding('utf8').on('data', (text: string) => {
      stderr += text;
    });
    child.on('error', reject);
    child.on('close', (code, signal) => resolve({ code, signal, stdout, stderr }));
  });
}

/** A folder that is removed when the test ends. */
export function temporaryFolder(): string {
  const folder = mkdtempSync(join(tmpdir(), 'bluerim-test-'));
  onTestFinished(() => rmSync(folder, { recursive: true, force: true }));
  return folder;
}
