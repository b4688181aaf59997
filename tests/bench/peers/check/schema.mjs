// A JSON schema (draft 7) of one R4 resource, made from the compiled facts in the manner of the schema that FHIR
// publishes: properties, required ones, no others, arrays where an element repeats, patterns of the primitives. Codes of
// value sets are left out, which favours the peer.
import { readFileSync } from 'node:fs';

// Patterns as FHIR R4's datatypes page gives them.
const primitives = {
  boolean: { type: 'boolean' },
  integer: { type: 'number', pattern: '^-?([0]|([1-9][0-9]*))$' },
  unsignedInt: { type: 'number' }, positiveInt: { type: 'number' }, decimal: { type: 'number' },
  string: { type: 'string', pattern: '^[ \\r\\n\\t\\S]+$' }, markdown: { type: 'string', pattern: '^[ \\r\\n\\t\\S]+$' },
  code: { type: 'string', pattern: '^[^\\s]+(\\s[^\\s]+)*$' }, id: { type: 'string', pattern: '^[A-Za-z0-9\\-\\.]{1,64}$' },
  uri: { type: 'string', pattern: '^\\S*$' }, url: { type: 'string', pattern: '^\\S*$' },
  canonical: { type: 'string', pattern: '^\\S*$' }, oid: { type: 'string' }, uuid: { type: 'string' },
  base64Binary: { type: 'string' }, xhtml: { type: 'string' },
  time: { type: 'string', pattern: '^([01][0-9]|2[0-3]):[0-5][0-9]:([0-5][0-9]|60)(\\.[0-9]+)?$' },
  date: { type: 'string', pattern: '^[0-9]{4}(-(0[1-9]|1[0-2])(-(0[1-9]|[1-2][0-9]|3[0-1]))?)?$' },
  dateTime: { type: 'string', pattern: '^[0-9]{4}(-(0[1-9]|1[0-2])(-(0[1-9]|[1-2][0-9]|3[0-1])(T([01][0-9]|2[0-3]):[0-5][0-9]:([0-5][0-9]|60)(\\.[0-9]+)?(Z|(\\+|-)((0[0-9]|1[0-3]):[0-5][0-9]|14:00)))?)?)?$' },
  instant: { type: 'string', pattern: '^[0-9]{4}-(0[1-9]|1[0-2])-(0[1-9]|[1-2][0-9]|3[0-1])T([01][0-9]|2[0-3]):[0-5][0-9]:([0-5][0-9]|60)(\\.[0-9]+)?(Z|(\\+|-)((0[0-9]|1[0-3]):[0-5][0-9]|14:00))$' },
};

// type name -> elements [{path, min, repeats, types, content}]
function read(facts) {
  const shapes = new Map();
  let shape;
  for (const line of readFileSync(facts, 'utf8').split('\n')) {
    const word = line.trim().split(' ');
    if (line.startsWith('shape ')) shape = [];
    else if (line.startsWith('  is ')) shapes.set(word[2], shape);
    else if (line.startsWith('  e ')) {
      const [, path, bounds, , ...types] = word;
      const [, min, max, base] = bounds.match(/^(\d+)\.\.([^(]+)(?:\((.+)\))?$/);
      shape.push({ path, min: Number(min), repeats: (base ?? max) !== '1', types: types.map((t) => t.split(/[<>{]/)[0]) });
    } else if (line.startsWith('    content ')) shape.at(-1).content = word[1].slice(1);
  }
  return shapes;
}

export function schemaOf(resource, facts) {
  const shapes = read(facts);
  const definitions = {};
  const define = (name, elements, path) => {
    if (definitions[name]) return;
    const properties = {}, required = [];
    definitions[name] = { type: 'object', additionalProperties: false, properties, required };
    if (shapes.has(name) && elements[0].path === name && name === resource) properties.resourceType = { const: name };
    for (const element of elements) {
      if (!element.path.startsWith(`${path}.`) || element.path.slice(path.length + 1).includes('.')) continue;
      const stem = element.path.slice(path.length + 1).replace('[x]', '');
      const inner = elements.some((e) => e.path.startsWith(`${element.path}.`));
      const types = inner || element.content ? [null] : element.types;
      if (element.min && types.length === 1 && !(types[0] in primitives)) required.push(stem);
      for (const type of types) {
        const key = types.length > 1 ? stem + type[0].toUpperCase() + type.slice(1) : stem;
        let value = {};
        if (type === null) {
          const nested = element.content ?? element.path;
          define(nested, elements, nested);
          value = { $ref: `#/definitions/${nested}` };
        } else if (type.startsWith('System.')) value = { type: 'string' };
        else if (type in primitives) value = primitives[type];
        else if (shapes.has(type) && type !== 'Resource') {
          define(type, shapes.get(type), type);
          value = { $ref: `#/definitions/${type}` };
        }
        properties[key] = element.repeats ? { type: 'array', items: value } : value;
        if (type in primitives) {
          define('Element', shapes.get('Element'), 'Element');
          const companion = { $ref: '#/definitions/Element' };
          properties[`_${key}`] = element.repeats
            ? { type: 'array', items: { anyOf: [companion, { type: 'null' }] } } : companion;
        }
      }
    }
  };
  define(resource, shapes.get(resource), resource);
  return { $ref: `#/definitions/${resource}`, definitions };
}
