// The steps from a draft to a session that waits to be sent, and changes of what was sent.

import { dayOf, now, stamp } from '../clock';
import type { JsonObject } from '../json';
import { objectAt, textAt } from '../json';
import { alone } from '../kept';
import { all, update, wake } from '../outbox';
import { type LocalSession, begin, close, documentOf, isOpen, record, timesOf } from '../session';
import type { Patient, Person, Ward } from '../ward';
import type { Draft } from './draft';
import { type Made, entriesOfDraft, freshId } from './entries';

// The session that what is recorded now belongs to: this person's, with this patient, of today, still open.
export function openSession(sessions: LocalSession[], patient: Patient, person: Person): LocalSession | undefined {
  return sessions.find((one) => one.patient === patient.key && one.person === person.key && isOpen(one)
    && one.stand !== 'withdrawn' && dayOf(Date.parse(textAt(objectAt(documentOf(one), 'period'), 'start'))) === dayOf(now()));
}

function earliestOf(made: Made[], time: number): string {
  const starts = made.flatMap((one) => one.entries).map((one) => timesOf(one).start);
  return starts.reduce((a, b) => (Date.parse(b) < Date.parse(a) ? b : a), stamp(time));
}

export interface Tried { session: LocalSession; made: Made[] }

// The session as it would be with the draft in it; nothing is kept.
export function tryOut(
  sessions: LocalSession[], ward: Ward, patient: Patient, person: Person, draft: Draft,
): Tried {
  const time = now();
  const made = entriesOfDraft(draft, time, freshId);
  const before = openSession(sessions, patient, person)
    ?? begin('urn:uuid:00000000-0000-4000-8000-000000000000', ward, patient, person, earliestOf(made, time), time);
  const change = { entries: made.flatMap((one) => one.entries), withdrawn: [], reason: '' };
  return { session: record(before, change, person.frame, stamp(time), time), made };
}

// Keeps the draft's entries on this device as part of a session and has them sent. Resolves once they are kept.
// Errors: QuotaExceededError when the device is full; nothing was changed then.
export async function recordDraft(ward: Ward, patient: Patient, person: Person, draft: Draft): Promise<number> {
  const time = now();
  const made = entriesOfDraft(draft, time, freshId);
  const change = { entries: made.flatMap((one) => one.entries), withdrawn: [], reason: '' };
  // Two tabs that record at once find or begin one session, one after the other.
  await alone('begin', async () => {
    const id = openSession(await all(), patient, person)?.id ?? `urn:uuid:${crypto.randomUUID()}`;
    await update(id, (known) => record(known ?? begin(id, ward, patient, person, earliestOf(made, time), time), change,
      person.frame, stamp(time), time));
  });
  wake();
  return change.entries.length;
}

export async function amend(
  session: LocalSession, entry: JsonObject, withdrawn: boolean, reason: string, person: Person,
): Promise<void> {
  const time = now();
  const change = withdrawn
    ? { entries: [], withdrawn: [{ id: textAt(entry, 'id'), reason }], reason }
    : { entries: [entry], withdrawn: [], reason };
  await update(session.id, (known) => record(known ?? session, change, person.frame, stamp(time), time));
  wake();
}

export async function end(session: LocalSession): Promise<void> {
  const time = now();
  await update(session.id, (known) => (known ? close(known, stamp(time), time) : undefined));
  wake();
}
