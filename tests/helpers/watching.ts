/** `bluerim grade --watch` as a child process that tests wait for and end. */
import { spawn } from 'node:child_process';
import { setTimeout as sleep } from 'node:timers/promises';
import { onTestFinished } from 'vitest';
import { BIN } from './run-bin.js';

export interface Watching {
  /** Waits until stderr says it so often. @throws when the program ends before */
  seen: (text: string, times?: number) => Promise<void>;
  end: (signal: NodeJS.Signals) => Promise<{ code: number | null; stdout: string; stderr: string }>;
}

/** Starts `bluerim grade` with `args`; it is gone when the test ends. */
export function watching(args: readonly string[], cwd?: string): Watching {
  const child = spawn(process.execPath, [BIN, 'grade', ...args], { cwd });
  onTestFinished(() => {
    child.kill('SIGKILL');
  });
  let stdout = '';
  let stderr = '';
  child.stdout.on('data', (text) => {
    stdout += text;
  });
  child.stderr.on('data', (text) => {
    stderr += text;
  });
  const closed = new Promise<number | null>((resolve) => {
    child.on('close', resolve);
  });
  return {
    seen: async (text, times = 1) => {
      while (stderr.split(text).length <= times) {
        if (child.exitCode !== null) throw new Error(`ended (${child.exitCode}): ${stderr}`);
        await sleep(20);
      }
    },
    end: async (signal) => {
      child.kill(signal);
      const code = await closed;
      return { code, stdout, stderr };
    },
  };
}
