/** The line every benchmark prints first: numbers mean little without the machine and versions behind them. */
import { cpus, totalmem } from 'node:os';

export interface Environment {
  date: string;
  node: string;
  platform: string;
  cores: number;
  memoryGiB: number;
}

export function environment(): Environment {
  return {
    date: new Date().toISOString().slice(0, 10),
    node: process.version,
    platform: `${process.platform} ${process.arch}`,
    cores: cpus().length,
    memoryGiB: Math.round(totalmem() / 2 ** 30),
  };
}

export function environmentLine({ date, node, platform, cores, memoryGiB }: Environment): string {
  return `${date}, Node ${node}, ${platform}, ${cores} cores, ${memoryGiB} GiB`;
}
