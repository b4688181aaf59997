// JSON that keeps the digits of numbers: 92.50 stays 92.50, as FHIR wants it. JSON.parse would make it 92.5, and the
// engine would take the resent entry for a changed one.

export class Num {
  constructor(readonly text: string) {}
  toString(): string { return this.text; }
}
export type Json = null | boolean | string | Num | Json[] | JsonObject;
export interface JsonObject { [name: string]: Json | undefined }

const kToken = /\s*(?:([{}[\],:])|("(?:[^"\\\u0000-\u001f]|\\.)*")|(-?\d+(?:\.\d+)?(?:[eE][+-]?\d+)?)|(true|false|null))/y;

// Throws SyntaxError.
export function parse(text: string): Json {
  let at = 0;
  const next = (): RegExpExecArray => {
    kToken.lastIndex = at;
    const found = kToken.exec(text);
    if (!found) throw new SyntaxError(`no JSON at character ${at}`);
    at = kToken.lastIndex;
    return found;
  };
  const value = (token: RegExpExecArray): Json => {
    const [, mark, string, number, word] = token;
    if (string !== undefined) return JSON.parse(string) as string;
    if (number !== undefined) return new Num(number);
    if (word !== undefined) return word === 'null' ? null : word === 'true';
    if (mark === '[') return list();
    if (mark === '{') return object();
    throw new SyntaxError(`'${mark}' is not expected at character ${at}`);
  };
  const list = (): Json[] => {
    const out: Json[] = [];
    let token = next();
    if (token[1] === ']') return out;
    for (;;) {
      out.push(value(token));
      token = next();
      if (token[1] === ']') return out;
      if (token[1] !== ',') throw new SyntaxError(`',' is missing at character ${at}`);
      token = next();
    }
  };
  const object = (): JsonObject => {
    const out: JsonObject = {};
    let token = next();
    if (token[1] === '}') return out;
    for (;;) {
      if (token[2] === undefined || next()[1] !== ':') throw new SyntaxError(`no member at character ${at}`);
      out[JSON.parse(token[2]) as string] = value(next());
      token = next();
      if (token[1] === '}') return out;
      if (token[1] !== ',') throw new SyntaxError(`',' is missing at character ${at}`);
      token = next();
    }
  };
  const out = value(next());
  if (text.slice(at).trim() !== '') throw new SyntaxError(`something follows at character ${at}`);
  return out;
}

// Members that are undefined are left out.
export function print(value: Json): string {
  if (value instanceof Num) return value.text;
  if (Array.isArray(value)) return `[${value.map(print).join(',')}]`;
  if (value !== null && typeof value === 'object') {
    const members = Object.entries(value).filter((one): one is [string, Json] => one[1] !== undefined);
    return `{${members.map(([name, one]) => `${JSON.stringify(name)}:${print(one)}`).join(',')}}`;
  }
  return JSON.stringify(value);
}

export function same(a: Json | undefined, b: Json | undefined): boolean {
  return a === undefined || b === undefined ? a === b : print(a) === print(b);
}

export function isObject(value: Json | undefined): value is JsonObject {
  return value !== null && typeof value === 'object' && !Array.isArray(value) && !(value instanceof Num);
}
export function objectAt(value: Json | undefined, name: string): JsonObject | undefined {
  const member = isObject(value) ? value[name] : undefined;
  return isObject(member) ? member : undefined;
}
export function listAt(value: Json | undefined, name: string): JsonObject[] {
  const member = isObject(value) ? value[name] : undefined;
  return Array.isArray(member) ? member.filter(isObject) : [];
}
export function textsAt(value: Json | undefined, name: string): string[] {
  const list = isObject(value) ? value[name] : undefined;
  return Array.isArray(list) ? list.filter((one) => typeof one === 'string') : [];
}
export function numbersAt(value: Json | undefined, name: string): string[] {
  const list = isObject(value) ? value[name] : undefined;
  return Array.isArray(list) ? list.filter((one) => one instanceof Num).map((one) => one.text) : [];
}
export function textAt(value: Json | undefined, name: string): string {
  const member = isObject(value) ? value[name] : undefined;
  return typeof member === 'string' ? member : '';
}
export function numberAt(value: Json | undefined, name: string): string {
  const member = isObject(value) ? value[name] : undefined;
  return member instanceof Num ? member.text : '';
}
// The number text of a Quantity member.
export function amountAt(value: Json | undefined, name: string): string {
  return numberAt(objectAt(value, name), 'value');
}
