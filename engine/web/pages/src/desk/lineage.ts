// Which rule made an element of the bundle, from which places of the session document: the journal's tables
// (docs/mapping-guide.md), turned so that either end can be asked. Pure.

import { type Json, type JsonObject, Num, isObject } from '../json';

export interface Origin { rule: string; name: string; inputs: string[] }

// "/entry/3" is the place itself, its parents hold it.
export function within(place: string, outer: string): boolean {
  return place === outer || place.startsWith(`${outer}/`);
}

export class Lineage {
  private readonly origins = new Map<string, Origin>();

  constructor(tables: JsonObject | undefined) {
    const rules = listOf(tables?.['rules']).map((one) => listOf(one).map(String));
    const inputs = listOf(tables?.['inputs']).map(String);
    for (const row of listOf(tables?.['elements'])) {
      const [output, rule, ...from] = listOf(row);
      const [place = '', name = ''] = rules[indexOf(rule)] ?? [];
      if (typeof output === 'string' && place !== '') {
        this.origins.set(output, {
          rule: place, name, inputs: from.map((one) => inputs[indexOf(one)] ?? '').filter((one) => one !== '') });
      }
    }
  }

  get empty(): boolean {
    return this.origins.size === 0;
  }
  // Of the element, or of the nearest one around it that a rule made.
  of(output: string): Origin | undefined {
    for (let at = output; at !== ''; at = at.slice(0, at.lastIndexOf('/'))) {
      const origin = this.origins.get(at);
      if (origin) return origin;
    }
    return undefined;
  }
  // What was made from a place: from exactly it or from something in it; when nothing was, from what holds it.
  from(input: string): string[] {
    const pick = (fits: (one: string) => boolean): string[] =>
      [...this.origins].filter(([, origin]) => origin.inputs.some(fits)).map(([output]) => output);
    const near = pick((one) => within(one, input));
    if (near.length > 0) return near;
    for (let at = input.slice(0, input.lastIndexOf('/')); at !== ''; at = at.slice(0, at.lastIndexOf('/'))) {
      const around = pick((one) => one === at);
      if (around.length > 0) return around;
    }
    return [];
  }
  by(rule: string): string[] {
    return [...this.origins].filter(([, origin]) => origin.rule === rule).map(([output]) => output);
  }
}

function listOf(value: Json | undefined): Json[] {
  return Array.isArray(value) ? value : [];
}
function indexOf(value: Json | undefined): number {
  return value instanceof Num ? Number(value.text) : -1;
}

// A resource of a bundle in a line: its type, what it is about, its value.
export function summaryOf(resource: Json | undefined): string {
  if (!isObject(resource)) return '';
  const kind = typeof resource['resourceType'] === 'string' ? resource['resourceType'] : '';
  const code = resource['code'];
  const about = codeWords(code) || codeWords(listOf(resource['activity'])[0]);
  const quantity = resource['valueQuantity'];
  const value = isObject(quantity) ? [quantity['value'], quantity['unit']].filter((one) => one !== undefined && one !== '1').map(String).join(' ')
    : typeof resource['valueString'] === 'string' ? resource['valueString']
      : codeWords(resource['valueCodeableConcept']) || (resource['valueInteger'] instanceof Num ? resource['valueInteger'].text : '');
  const derived = listOf(resource['derivedFrom']).length > 0 ? ' (computed)' : '';
  return `${kind}${about ? `: ${about}` : ''}${value ? `, ${value}` : ''}${derived}`;
}

function codeWords(concept: Json | undefined): string {
  if (!isObject(concept)) return '';
  if (typeof concept['text'] === 'string') return concept['text'];
  for (const coding of listOf(concept['coding'])) {
    if (isObject(coding) && typeof coding['display'] === 'string') return coding['display'];
  }
  return '';
}
