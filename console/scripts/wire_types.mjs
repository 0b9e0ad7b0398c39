// SPDX-License-Identifier: Apache-2.0
// Writes src/wire/api.ts from the API description. `--check` writes nothing and exits 1 where the
// file is not what would be written.
import { readFileSync, writeFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';

const descriptionFile = fileURLToPath(new URL('../../docs/openapi.json', import.meta.url));
const typesFile = fileURLToPath(new URL('../src/wire/api.ts', import.meta.url));

const last = (reference) => reference.split('/').at(-1);
const quoted = (name) => (/^[A-Za-z_]\w*$/.test(name) ? name : `'${name}'`);

function typeOf(schema, indent) {
  const text = bareTypeOf(schema, indent);
  return schema.nullable ? `${text} | null` : text;
}

function bareTypeOf(schema, indent) {
  if (schema.$ref) return last(schema.$ref);
  if (schema.allOf) return schema.allOf.map((part) => typeOf(part, indent)).join(' & ');
  if (schema.enum) return schema.enum.map((value) => (typeof value === 'string' ? `'${value}'` : value)).join(' | ');
  if (schema.type === 'array') return `ReadonlyArray<${typeOf(schema.items, indent)}>`;
  if (schema.type === 'object') return objectOf(schema, indent);
  if (schema.type === 'integer') return 'number';
  return schema.format === 'binary' ? 'Blob' : schema.type;
}

function objectOf(schema, indent) {
  if (schema.additionalProperties) {
    const value = schema.additionalProperties === true ? 'unknown' : typeOf(schema.additionalProperties, indent);
    return `{ readonly [name: string]: ${value} }`;
  }
  if (!schema.properties) return '{ readonly [name: string]: unknown }';
  const required = new Set(schema.required ?? []);
  const inner = `${indent}  `;
  const members = Object.entries(schema.properties).map(([name, member]) => {
    const note = member.description ? `${inner}/** ${member.description} */\n` : '';
    return `${note}${inner}readonly ${quoted(name)}${required.has(name) ? '' : '?'}: ${typeOf(member, inner)};\n`;
  });
  return members.length === 0 ? '{ readonly [name: string]: never }' : `{\n${members.join('')}${indent}}`;
}

function named(name, schema) {
  const note = schema.description ? `/** ${schema.description} */\n` : '';
  return `${note}export type ${name} = ${typeOf(schema, '')};\n`;
}

const bodyOf = (holder) => holder?.content?.['application/json']?.schema;

function operations(description) {
  const lines = [];
  for (const [path, methods] of Object.entries(description.paths)) {
    for (const [method, operation] of Object.entries(methods)) {
      if (!operation.operationId) continue;
      const done = Object.entries(operation.responses).find(([code]) => code.startsWith('2'))?.[1];
      const answer = bodyOf(done);
      const body = bodyOf(operation.requestBody);
      const query = (operation.parameters ?? []).filter((parameter) => parameter.in === 'query');
      const asked = query.map((q) => `${q.name}${q.required ? '' : '?'}: ${bareTypeOf(q.schema, '')}`).join('; ');
      lines.push(`  /** ${operation.summary} */\n  ${operation.operationId}: {
    method: '${method.toUpperCase()}';\n    path: '${path}';\n    query: ${asked ? `{ ${asked} }` : 'Nothing'};
    body: ${body ? typeOf(body, '    ') : 'null'};\n    answer: ${answer ? typeOf(answer, '    ') : 'null'};\n  };\n`);
    }
  }
  return `export type Nothing = { readonly [name: string]: never };\n\nexport interface Operations {\n${lines.join('')}}\n`;
}

/** Ways of the operations, for the client. */
function ways(description) {
  const lines = [];
  for (const [path, methods] of Object.entries(description.paths)) {
    for (const [method, operation] of Object.entries(methods)) {
      if (operation.operationId) lines.push(`  ${operation.operationId}: ['${method.toUpperCase()}', '${path}'],\n`);
    }
  }
  return `export const ways: { readonly [Name in keyof Operations]: readonly [string, string] } = {\n${lines.join('')}};\n`;
}

function live(description) {
  const spoken = (messages, suffix) =>
    Object.entries(messages)
      .map(([name, schema]) => {
        const typed = { ...schema, properties: { ...schema.properties, type: { type: 'string', enum: [name] } } };
        return named(`${name[0].toUpperCase()}${name.slice(1)}${suffix}`, typed);
      })
      .join('\n');
  const union = (messages, suffix) =>
    Object.keys(messages).map((name) => `${name[0].toUpperCase()}${name.slice(1)}${suffix}`).join(' | ');
  const { to_server: toServer, to_viewer: toViewer } = description['x-live'];
  return `${spoken(toServer, 'Request')}\n${spoken(toViewer, 'Message')}
export type LiveRequest = ${union(toServer, 'Request')};\nexport type LiveMessage = ${union(toViewer, 'Message')};\n`;
}

const description = JSON.parse(readFileSync(descriptionFile, 'utf8'));
const schemas = Object.entries(description.components.schemas).map(([name, schema]) => named(name, schema));
const text = `// SPDX-License-Identifier: Apache-2.0
// Written by scripts/wire_types.mjs from docs/openapi.json: change that one, then \`npm run wire\`.

${schemas.join('\n')}
${operations(description)}
${ways(description)}
${live(description)}`;

if (process.argv.includes('--check')) {
  if (readFileSync(typesFile, 'utf8') !== text) {
    console.error('console/src/wire/api.ts: not what docs/openapi.json says: run `npm run wire`');
    process.exit(1);
  }
} else {
  writeFileSync(typesFile, text);
}
