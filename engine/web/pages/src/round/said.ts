// What the engine says of a draft before it is sent (POST /sessions?dry-run), told at the card and field it is about.

import type { Issue } from '../engine';
import { type JsonObject, textAt } from '../json';
import type { Card } from './draft';
import type { Made } from './entries';

export interface Said { card: Card; field: string; text: string; asks: boolean }

// Members of the session document that are another field's name on a card.
const kFieldOf: Record<string, string> = {
  saturationBefore: 'before', saturationLowest: 'lowest', saturationAfter: 'after',
};
const kRank: Record<string, number> = { fatal: 0, error: 0, warning: 1, information: 2 };

// `document`: what was tried, whose entries an issue counts; `made`: which of them come from which card.
export function saidOf(issues: Issue[], entries: JsonObject[], made: Made[]): Said[] {
  const out: Said[] = [];
  for (const issue of [...issues].sort((a, b) => (kRank[a.severity] ?? 3) - (kRank[b.severity] ?? 3))) {
    const found = /\bentry\[(\d+)\](?:.*\.)?(\w+)?/.exec(issue.expression);
    const id = found && textAt(entries[Number(found[1])], 'id');
    const from = id && made.find((one) => one.entries.some((entry) => textAt(entry, 'id') === id));
    if (!from) continue;
    const member = found[2] ?? '';
    const asks = issue.severity === 'warning' && /\bconfirm the entry\b/.test(issue.text);
    out.push({ card: from.card, field: kFieldOf[member] ?? member, text: issue.text, asks });
  }
  return out;
}

// The text for a field, or with '' what no field of the card shows.
export function sayingOf(said: Said[], card: Card, field: string, fields: string[]): Said | undefined {
  return said.find((one) => one.card === card && (field === '' ? !fields.includes(one.field) : one.field === field));
}
