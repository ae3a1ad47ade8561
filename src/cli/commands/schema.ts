/** `bluerim schema`: the JSON Schema of a command's `--json` document. */
import { Argument, Command } from 'commander';
import { createTerminal } from '../terminal.js';

export function schemaCommand(): Command {
  return new Command('schema')
    .description('Print the JSON Schema (draft 2020-12) of what a command writes with --json.')
    .addArgument(new Argument('<command>', 'the command').choices(['measure', 'field']))
    .helpOption('-h, --help', 'show this help')
    .action(async (name: 'measure' | 'field') => {
      const { jsonSchemaOf } = await import('../../report/schema.js');
      createTerminal().result(`${JSON.stringify(jsonSchemaOf(name), null, 2)}\n`);
    });
}
