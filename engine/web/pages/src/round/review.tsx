// "To look through": what the patient, the family, an assistant or a student reported, until a licensed person has looked at
// it. One tap attests all that is ticked; a single entry is corrected or withdrawn with a reason.

import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import { authorWords, needsLook } from '../attested';
import { clockText, dayOf, now, stamp } from '../clock';
import { type JsonObject, listAt, numberAt, objectAt, textAt } from '../json';
import { update, wake } from '../outbox';
import { readNumber } from '../numbers';
import { type Table, judge } from '../plausibility';
import { type LocalSession, adopt, attest, documentOf, record, timesOf } from '../session';
import type { Patient, Person } from '../ward';
import { Correction } from './correction';
import { describe, kindWords, partsOf } from './describe';
import type { Known } from './last';
import type { Amend } from './receipts';

export interface Found { id: string; known: Known | undefined; document: JsonObject; entry: JsonObject; held: string }

// Of the journal and of this device, whichever is later.
export function unlooked(patient: Patient, sessions: LocalSession[], known: Known[]): Found[] {
  const out: Found[] = [];
  const local = new Map(sessions.filter((one) => one.patient === patient.key).map((one) => [one.id, one]));
  const idOf = (document: JsonObject): string => textAt(objectAt(document, 'identifier'), 'value');
  const put = (id: string, one: Known | undefined, document: JsonObject, held: string): void => {
    for (const entry of listAt(document, 'entry')) {
      if (needsLook(document, entry)) out.push({ id, known: one, document, entry, held });
    }
  };
  for (const one of known) {
    const here = local.get(idOf(one.document));
    const later = here !== undefined && here.revision >= Number(numberAt(one.document, 'revision') || '0');
    if (later) local.delete(here.id);
    if (later) put(here.id, undefined, documentOf(here), here.stand === 'held' ? here.reason : '');
    else put(idOf(one.document), one, one.document, one.stand === 'held' ? 'The engine holds it until a person has looked at it.' : '');
    local.delete(idOf(one.document));
  }
  for (const one of local.values()) put(one.id, undefined, documentOf(one), one.stand === 'held' ? one.reason : '');
  return out.sort((a, b) => Date.parse(timesOf(a.entry).start) - Date.parse(timesOf(b.entry).start));
}

// What stands on this device, or the journal's when that is later.
function baseOf(found: Found, here: LocalSession | undefined): LocalSession | undefined {
  const { known } = found;
  if (!known) return here;
  const theirs = Number(numberAt(known.document, 'revision') || '0');
  // What was changed here and not sent yet is put together with theirs after it is sent.
  return here && (here.revision >= theirs || here.acknowledged < here.revision) ? here : adopt(known.text, known.session, known.stand, now());
}

// The table finds a value of it improbable, and nobody has stood by it.
function isDoubtful(table: Table | undefined, entry: JsonObject): boolean {
  const device = textAt(objectAt(objectAt(entry, 'vitals'), 'oxygen'), 'device');
  return entry['confirmed'] !== true && partsOf(entry).some((part) => !part.options && judge(table,
    { element: part.element, ...(part.unit ? { unit: part.unit } : {}), device }, readNumber(part.value).text).grade !== 'good');
}

async function attestAll(chosen: Found[], person: Person): Promise<void> {
  for (const id of new Set(chosen.map((one) => one.id))) {
    const those = chosen.filter((one) => one.id === id);
    const [first] = those;
    if (!first) continue;
    await update(id, (here) => {
      const base = baseOf(first, here);
      return base && attest(base, those.map((one) => textAt(one.entry, 'id')), person.frame, stamp(now()), now());
    });
  }
  wake();
}

async function amendOne(found: Found, amend: Amend, person: Person): Promise<void> {
  const change = amend.withdrawn
    ? { entries: [], withdrawn: [{ id: textAt(amend.entry, 'id'), reason: amend.reason }], reason: amend.reason }
    : { entries: [amend.entry], withdrawn: [], reason: amend.reason };
  await update(found.id, (here) => {
    const base = baseOf(found, here);
    return base && record(base, change, person.frame, stamp(now()), now());
  });
  wake();
}

function when(time: string): string {
  const at = Date.parse(time);
  return dayOf(at) === dayOf(now()) ? clockText(at) : `${dayOf(at)} ${clockText(at)}`;
}

export function Review(p: { found: Found[]; person: Person; table: Table | undefined; onAgain: () => void }): JSX.Element | null {
  const [left, leave] = useState<string[]>([]); // not looked at: unticked
  const [chosen, choose] = useState<Found>();
  if (p.found.length === 0) return null;
  const keyOf = (one: Found): string => `${one.id} ${textAt(one.entry, 'id')}`;
  const ready = p.found.filter((one) => !left.includes(keyOf(one)) && !isDoubtful(p.table, one.entry));
  const may = p.person.role === 'therapist' || p.person.role === 'physician';
  const held = p.found.find((one) => one.held !== '')?.held;
  return (
    <div class="review" role="group" aria-labelledby="review-title">
      <h2 id="review-title" tabIndex={-1}>To look through</h2>
      {held && <p class="judged confirm">{held}</p>}
      <ul>{p.found.map((one) => {
        const key = keyOf(one);
        const doubtful = isDoubtful(p.table, one.entry);
        const words = `${when(timesOf(one.entry).start)} ${kindWords(one.entry)} ${describe(one.entry)}`;
        return <li key={key}>
          <label class="check"><input type="checkbox" disabled={doubtful} checked={!doubtful && !left.includes(key)}
            onChange={(event) => leave(event.currentTarget.checked ? left.filter((other) => other !== key) : [...left, key])} />
            <span><time>{when(timesOf(one.entry).start)}</time> <b>{kindWords(one.entry)}</b> <span dir="auto">{describe(one.entry)}</span>
              <small>by {authorWords(one.document, one.entry)}</small></span></label>
          {doubtful && <p class="judged confirm">Improbable. Correct it, or stand by it.</p>}
          <button type="button" class="plain" aria-label={`Correct or withdraw: ${words}`} onClick={() => choose(one)}>Correct or withdraw</button></li>;
      })}</ul>
      <div class="row">
        <button type="button" class="chip wide attest" disabled={!may || ready.length === 0} onClick={() => void attestAll(ready, p.person)}>
          I have looked at {ready.length === 1 ? 'this one' : `these ${ready.length}`}</button>
        <button type="button" class="plain" onClick={p.onAgain}>Look for more</button></div>
      {!may && <p class="none">Therapists and physicians attest.</p>}
      {chosen && <Correction entry={chosen.entry} table={p.table}
        device={textAt(objectAt(objectAt(chosen.entry, 'vitals'), 'oxygen'), 'device')} onClose={() => choose(undefined)}
        onAmend={(amend) => { void amendOne(chosen, amend, p.person); choose(undefined); }} />}
    </div>
  );
}
