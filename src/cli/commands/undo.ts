/** `bluerim undo`: takes back what `grade --apply` copied, linked or moved. */
import { Command } from 'commander';
import { colorOption } from '../options.js';
import { type ColorChoice, createTerminal } from '../terminal.js';

export function undoCommand(setExitCode: (code: number) => void): Command {
  return new Command('undo')
    .description(
      'Take back what `grade --apply` did: moved frames return to their old place, copies and links are removed while they are what they were. Nothing is overwritten.',
    )
    .argument('<list>', 'the list of what was done, as --undo-list wrote it')
    .addOption(colorOption())
    .helpOption('-h, --help', 'show this help')
    .action(async (list: string, flags: { color: ColorChoice }) => {
      const terminal = createTerminal(flags.color);
      const { undoActions } = await import('../undo-list.js');
      const { undone, before, left } = await undoActions(list);
      for (const each of left) terminal.message(`not taken back: ${each}`);
      const earlier = before > 0 ? `; ${before} had been taken back before` : '';
      terminal.message(`${undone} file${undone === 1 ? '' : 's'} taken back${earlier}`);
      setExitCode(left.length > 0 ? 1 : 0);
    });
}
