/** Markdown tables made from the published schema and the column registry: what docs/output-format.md must hold. */
import { CHANNEL_COLUMNS, type ColumnInfo, STAR_COLUMNS } from '../../src/catalogue/catalogue.js';
import { STAR_FLAGS } from '../../src/catalogue/flags.js';

interface Node {
  type?: string | string[];
  description?: string;
  properties?: Record<string, Node>;
  required?: string[];
  items?: Node;
  anyOf?: Node[];
  enum?: unknown[];
  const?: unknown;
  prefixItems?: Node[];
  additionalProperties?: Node | boolean;
  $ref?: string;
  $defs?: Record<string, Node>;
}

const refName = (node: Node): string => (node.$ref as string).replace('#/$defs/', '');

/** The type of a field in words; `null` says that it may be missing a value. */
function typeWords(node: Node): string {
  if (node.$ref !== undefined) return `[${refName(node)}](#${refName(node).toLowerCase()})`;
  if (node.anyOf !== undefined) return node.anyOf.map(typeWords).join(' or ');
  if (node.const !== undefined) return `\`"${String(node.const)}"\``;
  if (node.enum !== undefined) return node.enum.map((each) => `"${String(each)}"`).join(', ');
  if (node.prefixItems !== undefined) {
    const kind = node.prefixItems.some(({ type }) => type === 'string') ? 'strings' : 'numbers';
    return `list of ${node.prefixItems.length} ${kind}`;
  }
  if (node.type === 'array') return `list of ${typeWords(node.items ?? {})}`;
  if (node.type === 'object') return 'object';
  const types = Array.isArray(node.type) ? node.type : [node.type ?? 'anything'];
  return types.map((each) => (each === 'integer' ? 'whole number' : each)).join(' or ');
}

/** The object inside a nullable or a list, if there is one. */
function inner(node: Node): { node: Node; suffix: string } | null {
  if (node.properties !== undefined) return { node, suffix: '' };
  if (node.type === 'array' && node.items?.properties !== undefined) {
    return { node: node.items, suffix: '[]' };
  }
  const choice = node.anyOf?.find((each) => each.properties !== undefined);
  return choice === undefined ? null : { node: choice, suffix: '' };
}

function rows(node: Node, path: string): string[] {
  const lines: string[] = [];
  for (const [name, field] of Object.entries(node.properties ?? {})) {
    const optional = node.required?.includes(name) === true ? '' : ' (may be absent)';
    const below = inner(field);
    const full = `${path}${name}${below?.suffix ?? ''}`;
    lines.push(`| \`${full}\` | ${typeWords(field)}${optional} | ${field.description ?? ''} |`);
    if (below !== null) lines.push(...rows(below.node, `${full}.`));
  }
  return lines;
}

const HEAD = ['| field | type | meaning and unit |', '|---|---|---|'];

/** Every field of a document, then one section per shared object. */
export function schemaTables(schema: Node): string {
  const parts = [[...HEAD, ...rows(schema, '')].join('\n')];
  for (const [name, node] of Object.entries(schema.$defs ?? {})) {
    parts.push(
      `#### ${name}`,
      `${node.description ?? ''}.`,
      [...HEAD, ...rows(node, '')].join('\n'),
    );
  }
  return parts.join('\n\n');
}

/** Columns of the star catalogue and the bits of its flags. */
export function catalogueTables(): string {
  const line = ({ name, unit, meaning }: ColumnInfo): string =>
    `| \`${name.replace('{c}', 'C')}\` | ${unit} | ${meaning} |`;
  return [
    [
      '| column | unit | meaning |',
      '|---|---|---|',
      '| `file` | | frame the star was found in |',
      ...[...STAR_COLUMNS, ...CHANNEL_COLUMNS].map(line),
      '| `flags` | | sum of the bits below; 0 = usable |',
      '| `flag_names` | | names of the flags, joined with `|`; `usable` = none |'.replace(
        '`|`',
        '`\\|`',
      ),
    ].join('\n'),
    [
      '| bit | flag | meaning |',
      '|---|---|---|',
      ...STAR_FLAGS.map(({ bit, name, meaning }) => `| ${bit} | ${name} | ${meaning} |`),
    ].join('\n'),
  ].join('\n\n');
}
