// Checks in the browser that a record lies in a signed tree (RFC 9162, section 2.1.3.2), from the record's own text: what
// the engine says of it is not taken for granted. Whether the tree's head was signed by the right key is checked with a key
// that the auditor has (docs/formats/journal.md).

import { type Json, type JsonObject, numberAt, objectAt, textAt } from '../json';

async function sha256(...parts: Uint8Array[]): Promise<Uint8Array> {
  const all = new Uint8Array(parts.reduce((length, one) => length + one.length, 0));
  let at = 0;
  for (const one of parts) {
    all.set(one, at);
    at += one.length;
  }
  return new Uint8Array(await crypto.subtle.digest('SHA-256', all));
}

function bytes(hex: string): Uint8Array {
  return new Uint8Array((hex.match(/../g) ?? []).map((one) => parseInt(one, 16)));
}
function hex(all: Uint8Array): string {
  return [...all].map((one) => one.toString(16).padStart(2, '0')).join('');
}

// The root that the leaf and its path lead to; undefined when the path does not fit the place.
async function rootOf(leaf: Uint8Array, index: number, size: number, path: string[]): Promise<string | undefined> {
  let node = index;
  let last = size - 1;
  let hash = leaf;
  const inner = new Uint8Array([1]);
  for (const one of path) {
    if (last === 0) return undefined;
    const other = bytes(one);
    if (node % 2 === 1 || node === last) {
      hash = await sha256(inner, other, hash);
      while (node % 2 === 0 && node !== 0) {
        node = Math.floor(node / 2);
        last = Math.floor(last / 2);
      }
    } else {
      hash = await sha256(inner, hash, other);
    }
    node = Math.floor(node / 2);
    last = Math.floor(last / 2);
  }
  return last === 0 ? hex(hash) : undefined;
}

export interface Verdict { good: boolean; text: string; record: string; size: string; time: string; key: string }

export async function judgeProof(proof: Json | undefined): Promise<Verdict> {
  const head = objectAt(proof, 'treeHead');
  const record = textAt(proof, 'record');
  const position = Number(numberAt(proof, 'position'));
  const list = (proof as JsonObject | undefined)?.['path'];
  const path = Array.isArray(list) ? list.filter((one): one is string => typeof one === 'string') : [];
  const leaf = await sha256(new Uint8Array([0]), new TextEncoder().encode(record));
  const root = await rootOf(leaf, position - 1, Number(numberAt(head, 'size')), path);
  const good = root !== undefined && root === textAt(head, 'root');
  return {
    good, record, size: numberAt(head, 'size'), time: textAt(head, 'time'), key: textAt(head, 'key'),
    text: good ? 'This browser computed the root of the signed tree from the record and its path: the record lies in it, unaltered.'
      : 'From this record and its path another root comes out than was signed. The record or the tree was altered.',
  };
}
