/** `bluerim schema`: the JSON Schema of a command's `--json` document. */
import { Argument, Command } from 'commander';
import { createTerminal } from '../terminal.js';

/** As `SCHEMA_COMMANDS`, whose file loads the schemas as well. */
const COMMANDS = ['measure', 'field', 'compare', 'grade', 'sweep', 'expect'] as const;

export function schemaCommand(): Command {
  return new Command('schema')
    .description('Print the JSON Schema (draft 2020-12) of what a command writes with --json.')
    .addArgument(new Argument('<command>', 'the command').choices(COMMANDS))
    .helpOption('-h, --help', 'show this help')
    .action(async (name: (typeof COMMANDS)[number]) => {
      const { jsonSchemaOf } = await import('../../report/schema.js');
      createTerminal().result(`${JSON.stringify(jsonSchemaOf(name), null, 2)}\n`);
    });
}
