// An entry of a session document in a line of words, and as a list of what can be corrected in it. Works from the
// entry's own members, so that an entry which this page does not record can be read and corrected too.

import { type Json, type JsonObject, Num, isObject, listAt, textAt } from '../json';
import { spoken } from '../plausibility';
import { options, word, wordIn } from '../words';

const kFrame = new Set(['id', 'time', 'period', 'phase', 'round', 'during', 'recordedBy', 'recordedAt', 'confirmed', 'comment',
  'absent', 'extension']);
const kKinds: Record<string, string> = { vitals: 'Readings', pepSet: 'Expiratory pressure set', selfCare: 'Self-care' };
// Members that hold a code of the model, and its value set.
const kSets: Record<string, string> = {
  device: 'oxygen-device', help: 'help', position: 'position', technique: 'technique', teachBack: 'teach-back', phase: 'phase',
};
// Members whose value says enough by itself.
const kPlain = new Set(['saturation', 'text', 'topic', 'device', 'position', 'activity', 'volume', 'what', 'phase']);

// "breathingRate" -> "breathing rate"
export function spaced(name: string): string {
  return name.replace(/[A-Z]/g, (letter) => ` ${letter.toLowerCase()}`);
}
function capital(text: string): string {
  return text.charAt(0).toUpperCase() + text.slice(1);
}

export function kindOf(entry: JsonObject): string {
  return Object.keys(entry).find((name) => !kFrame.has(name)) ?? '';
}
export function kindWords(entry: JsonObject): string {
  const kind = kindOf(entry);
  return kKinds[kind] ?? (kind === '' ? 'Not taken' : capital(spaced(kind)));
}

function isAmount(value: Json | undefined): value is JsonObject {
  return isObject(value) && value['value'] instanceof Num;
}
function amountWords(value: JsonObject): string {
  const unit = textAt(value, 'unit');
  return `${String(value['value'])}${unit ? ` ${spoken(unit)}` : ''}`;
}
function codeWords(name: string, code: string): string {
  const set = kSets[name];
  return set ? wordIn(set, code) : word(code);
}

function memberWords(name: string, value: Json): string {
  const lead = kPlain.has(name) ? '' : `${spaced(name)} `;
  if (isAmount(value)) return lead + amountWords(value);
  if (value instanceof Num) return lead + value.text;
  if (typeof value === 'string') return lead + codeWords(name, value);
  if (typeof value === 'boolean') return value ? spaced(name) : '';
  if (Array.isArray(value)) return listWords(name, value);
  return isObject(value) ? wordsOf(value) : '';
}

function listWords(name: string, values: Json[]): string {
  const amounts = values.filter(isObject).map((one) => one['volume']).filter(isAmount);
  if (amounts.length > 0) {
    const best = amounts.reduce((a, b) => (Number(b['value']) > Number(a['value']) ? b : a));
    return `${amounts.length} ${amounts.length === 1 ? 'breath' : 'breaths'}, best ${amountWords(best)}`;
  }
  return values.map((one) => memberWords(name, one)).filter((one) => one !== '').join(', ');
}

// A set says how many breaths it had, of which perhaps only the best was read.
function setWords(value: JsonObject): string {
  const best = listAt(value, 'repetition').map((one) => one['volume']).filter(isAmount)
    .reduce<JsonObject | undefined>((a, b) => (a && Number(a['value']) >= Number(b['value']) ? a : b), undefined);
  return `${String(value['breaths'])} breaths${best ? `, best ${amountWords(best)}` : ''}`;
}

function wordsOf(value: JsonObject): string {
  if (value['breaths'] instanceof Num) {
    const { breaths: _, repetition: __, ...rest } = value;
    return [setWords(value), wordsOf(rest)].filter((one) => one !== '').join(', ');
  }
  return Object.entries(value).map(([name, one]) => (one === undefined ? '' : memberWords(name, one)))
    .filter((one) => one !== '').join(', ');
}

export function describe(entry: JsonObject): string {
  const content = entry[kindOf(entry)];
  const words = isObject(content) ? wordsOf(content) : '';
  const phase = textAt(entry, 'phase');
  return [phase && wordIn('phase', phase).toLowerCase(), words].filter((one) => one !== '').join(': ');
}

// --- What can be corrected

export interface Part {
  path: (string | number)[];
  label: string;
  value: string;
  unit: string;
  element: string; // for the plausibility table
  options?: [string, string][];
  long: boolean;
}

export function partsOf(entry: JsonObject): Part[] {
  const out: Part[] = [];
  const walk = (value: Json | undefined, path: (string | number)[]): void => {
    const names = path.filter((one): one is string => typeof one === 'string');
    const name = names.at(-1) ?? '';
    const counted = path.map((one, i) => (typeof one === 'number' && path.length > i ? ` ${one + 1}` : '')).join('');
    const part = { path, label: capital(spaced(name)) + counted, element: ['entry', ...names].join('.'), unit: '', long: false };
    const set = name in kSets ? options(kSets[name] ?? '') : undefined;
    if (isAmount(value)) out.push({ ...part, value: String(value['value']), unit: textAt(value, 'unit') });
    else if (value instanceof Num) out.push({ ...part, value: value.text });
    else if (typeof value === 'string' && set?.some(([code]) => code === value)) out.push({ ...part, value, options: set });
    else if (typeof value === 'string' && /^(text|topic|what)$/.test(name)) out.push({ ...part, value, long: name === 'text' });
    else if (Array.isArray(value)) value.forEach((one, i) => walk(one, [...path, i]));
    else if (isObject(value)) Object.entries(value).forEach(([member, one]) => walk(one, [...path, member]));
  };
  const kind = kindOf(entry);
  walk(entry['phase'], ['phase']);
  walk(entry[kind], [kind]);
  return out;
}

// The entry with another value at a part's place; amounts keep their unit.
export function withPart(entry: JsonObject, part: Part, value: string): JsonObject {
  const put = (at: Json | undefined, path: (string | number)[]): Json => {
    const [first, ...rest] = path;
    if (first === undefined) {
      if (isAmount(at)) return { ...at, value: new Num(value) };
      return at instanceof Num ? new Num(value) : value;
    }
    if (Array.isArray(at)) return at.map((one, i) => (i === first ? put(one, rest) : one));
    return isObject(at) ? { ...at, [first]: put(at[first], rest) } : (at ?? null);
  };
  return put(entry, part.path) as JsonObject;
}
