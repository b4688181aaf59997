// One therapy session as this device has it: the whole document with its rising revision, and what of it the engine has
// not acknowledged yet. Pure; outbox.ts keeps and sends it.

import { type Json, type JsonObject, Num, isObject, listAt, objectAt, parse, print, same, textAt } from './json';
import { keptAttestations } from './attested';
import { keyOf, type Patient, type Person, type Ward } from './ward';

export type Stand = 'waiting' | 'accepted' | 'checked' | 'dispatched' | 'landed' | 'held' | 'refused' | 'superseded'
  | 'withdrawn';

export interface LocalSession {
  id: string; // the identifier's value
  patient: string; // key
  person: string; // key of who recorded it
  document: string; // exact JSON, as to be sent
  revision: number;
  tried: number; // the highest revision that may have reached the engine; 0: none
  acknowledged: number; // the highest that the engine has taken in
  landed: number; // the highest that is in the chart
  session: string; // the engine's id, once known
  stand: Stand; // of the highest revision
  reason: string; // why it is held or refused, in words
  marks: Record<string, number>; // entry -> revision that last touched it
  base: Record<string, string>; // entry -> its text at the engine before this device changed it
  lost: string[]; // what somebody else changed first; in words
  touched: number;
}

export interface Change { entries: JsonObject[]; withdrawn: { id: string; reason: string }[]; reason: string }

export function begin(id: string, ward: Ward, patient: Patient, person: Person, start: string, at: number): LocalSession {
  const document: JsonObject = {
    resourceType: 'TherapySession',
    identifier: { system: 'urn:ietf:rfc:3986', value: id },
    revision: new Num('1'),
    status: 'open',
    period: { start },
    facility: ward.facility,
    patient: patient.frame['patient'],
    therapist: person.frame,
    order: patient.frame['order'],
    earlier: patient.frame['earlier'],
  };
  return {
    id, patient: patient.key, person: person.key, document: print(document), revision: 0, tried: 0, acknowledged: 0,
    landed: 0, session: '', stand: 'waiting', reason: '', marks: {}, base: {}, lost: [], touched: at,
  };
}

// A session of the engine's journal, to be corrected here.
export function adopt(text: string, session: string, stand: Stand, at: number): LocalSession {
  const document = parse(text);
  const revision = isObject(document) && document['revision'] instanceof Num ? Number(document['revision'].text) : 0;
  return {
    id: textAt(objectAt(document, 'identifier'), 'value'),
    patient: keyOf(objectAt(document, 'patient')), person: '', document: text, revision, tried: revision,
    acknowledged: revision, landed: stand === 'landed' ? revision : 0, session, stand, reason: '',
    marks: Object.fromEntries(listAt(document, 'entry').map((one) => [textAt(one, 'id'), revision])),
    base: {}, lost: [], touched: at,
  };
}

export function documentOf(session: LocalSession): JsonObject {
  const document = parse(session.document);
  return isObject(document) ? document : {};
}
export function entriesOf(session: LocalSession): JsonObject[] {
  return listAt(documentOf(session), 'entry');
}
// The whole session should never have been there, or was moved to the right patient: nothing of it counts.
export function isTakenBack(document: JsonObject): boolean {
  return textAt(document, 'status') === 'entered-in-error';
}
export function isOpen(session: LocalSession): boolean {
  return textAt(documentOf(session), 'status') === 'open';
}
export function timesOf(entry: JsonObject): { start: string; end: string } {
  const period = objectAt(entry, 'period');
  const start = textAt(entry, 'time') || textAt(period, 'start');
  return { start, end: textAt(period, 'end') || start };
}

function earliest(a: string, b: string): string {
  return Date.parse(b) < Date.parse(a) ? b : a;
}

// The document with the change in it, as the next revision.
export function apply(document: JsonObject, change: Change, revision: number, author: Json, time: string): JsonObject {
  const entries = listAt(document, 'entry');
  const gone = new Set(change.withdrawn.map((one) => one.id));
  const changed = new Map(change.entries.map((one) => [textAt(one, 'id'), one]));
  const known = new Set(entries.map((one) => textAt(one, 'id')));
  const next = [
    ...entries.map((one) => changed.get(textAt(one, 'id')) ?? one),
    ...change.entries.filter((one) => !known.has(textAt(one, 'id'))),
  ].filter((one) => !gone.has(textAt(one, 'id')));
  const withdrawal: Json[] = [
    ...listAt(document, 'withdrawal').filter((one) => !gone.has(textAt(one, 'entry'))),
    ...change.withdrawn.map((one) => ({ entry: one.id, reason: one.reason })),
  ];
  const period = objectAt(document, 'period') ?? {};
  const start = next.map((one) => timesOf(one).start).reduce(earliest, textAt(period, 'start'));
  const ends = next.map((one) => timesOf(one).end).filter((one) => Date.parse(one) > Date.parse(textAt(period, 'end')));
  return {
    ...document,
    revision: new Num(String(revision)),
    // An entry put in later lengthens a closed session rather than lying outside it.
    period: { ...period, start, ...(ends.length > 0 ? { end: ends.sort((a, b) => Date.parse(a) - Date.parse(b)).at(-1) } : {}) },
    change: change.reason === '' ? document['change'] : { reason: change.reason, author, time },
    withdrawal: withdrawal.length > 0 ? withdrawal : undefined,
    entry: next.length > 0 ? next : undefined,
    attestation: keptAttestations(document, new Set(next.map((one) => textAt(one, 'id'))),
      new Set(entries.filter((one) => !same(one, changed.get(textAt(one, 'id')) ?? one)).map((one) => textAt(one, 'id'))), author),
  };
}

// Records a change in a session. What was never tried to be sent is simply left out when it is withdrawn.
export function record(session: LocalSession, change: Change, author: Json, time: string, at: number): LocalSession {
  const document = documentOf(session);
  const before = new Map(listAt(document, 'entry').map((one) => [textAt(one, 'id'), one]));
  const revision = session.revision + 1;
  const marks = { ...session.marks };
  const base = { ...session.base };
  const withdrawn = change.withdrawn.filter((one) => (session.marks[one.id] ?? 0) <= session.tried);
  const dropped = new Set(change.withdrawn.filter((one) => !withdrawn.includes(one)).map((one) => one.id));
  for (const id of [...change.entries.map((one) => textAt(one, 'id')), ...change.withdrawn.map((one) => one.id)]) {
    const old = before.get(id);
    if (old && (marks[id] ?? 0) <= session.acknowledged && base[id] === undefined) base[id] = print(old);
    marks[id] = revision;
  }
  const kept: JsonObject = dropped.size === 0 ? document : {
    ...document,
    entry: listAt(document, 'entry').filter((one) => !dropped.has(textAt(one, 'id'))),
  };
  const next = apply(kept, { ...change, withdrawn }, revision, author, time);
  return { ...session, document: print(next), revision, marks, base, stand: 'waiting', reason: '', touched: at };
}

// A licensed person stands for entries; what comes later is not covered by it.
export function attest(session: LocalSession, entries: string[], by: Json, time: string, at: number): LocalSession {
  const document = documentOf(session);
  const revision = session.revision + 1;
  const known = new Set(listAt(document, 'entry').map((one) => textAt(one, 'id')));
  const entry = entries.filter((one) => known.has(one));
  if (entry.length === 0) return session;
  const next = { ...document, revision: new Num(String(revision)), change: { reason: 'Looked through', author: by, time },
    attestation: [...listAt(document, 'attestation'), { by, time, entry }] };
  return { ...session, document: print(next), revision, stand: 'waiting', reason: '', touched: at };
}

export function close(session: LocalSession, end: string, at: number): LocalSession {
  const document = documentOf(session);
  const period = objectAt(document, 'period') ?? {};
  const last = entriesOf(session).map((one) => timesOf(one).end)
    .reduce((a, b) => (Date.parse(b) > Date.parse(a) ? b : a), end);
  const revision = session.revision + 1;
  const next = { ...document, revision: new Num(String(revision)), status: 'closed', period: { ...period, end: last } };
  return { ...session, document: print(next), revision, stand: 'waiting', reason: '', touched: at };
}

// After a 409: the engine's latest document with this device's unacknowledged changes laid over it. An entry that
// somebody else changed in the meantime stays as they left it, and that is told.
export function merge(session: LocalSession, theirs: JsonObject, time: string): LocalSession {
  const mine = documentOf(session);
  const there = new Map(listAt(theirs, 'entry').map((one) => [textAt(one, 'id'), one]));
  const pending = (id: string): boolean => (session.marks[id] ?? 0) > session.acknowledged;
  const lost: string[] = [];
  const untouched = (id: string): boolean => {
    const base = session.base[id];
    const now = there.get(id);
    const free = base === undefined ? now === undefined : now !== undefined && same(parse(base), now);
    if (!free) lost.push(id);
    return free;
  };
  const isSame = (one: JsonObject): boolean => same(one, there.get(textAt(one, 'id')));
  const change: Change = {
    entries: listAt(mine, 'entry').filter((one) => pending(textAt(one, 'id')) && !isSame(one)
      && untouched(textAt(one, 'id'))),
    withdrawn: listAt(mine, 'withdrawal').map((one) => ({ id: textAt(one, 'entry'), reason: textAt(one, 'reason') }))
      .filter((one) => pending(one.id) && there.has(one.id) && untouched(one.id)),
    reason: textAt(objectAt(mine, 'change'), 'reason'),
  };
  const latest = Number(theirs['revision'] instanceof Num ? theirs['revision'].text : '0');
  const revision = Math.max(latest, session.revision) + 1;
  const author = objectAt(mine, 'change')?.['author'] ?? mine['therapist'] ?? null;
  const laid: JsonObject = apply(theirs, change, revision, author, time);
  // What was looked through here and reads there as it did.
  const mineNow = new Map(listAt(mine, 'entry').map((one) => [textAt(one, 'id'), one]));
  const laidNow = new Map(listAt(laid, 'entry').map((one) => [textAt(one, 'id'), one]));
  const reads = (id: string): boolean => laidNow.has(id) && same(laidNow.get(id), mineNow.get(id));
  const attested = listAt(mine, 'attestation').filter((one) => !listAt(theirs, 'attestation').some((other) => same(one, other)))
    .map((one) => (Array.isArray(one['entry']) ? { ...one, entry: one['entry'].filter((id) => typeof id === 'string' && reads(id)) } : one))
    .filter((one) => !Array.isArray(one.entry) || one.entry.length > 0);
  if (attested.length > 0) laid['attestation'] = [...listAt(theirs, 'attestation'), ...attested];
  const period = objectAt(laid, 'period') ?? {};
  const closed = textAt(mine, 'status') === 'closed' && textAt(theirs, 'status') !== 'closed';
  const end = textAt(objectAt(mine, 'period'), 'end');
  const document = closed ? { ...laid, status: 'closed', period: { ...period, end: textAt(period, 'end') || end } } : laid;
  const marks = Object.fromEntries([...there.keys()].map((id) => [id, latest]));
  for (const one of [...change.entries.map((e) => textAt(e, 'id')), ...change.withdrawn.map((w) => w.id)]) {
    marks[one] = revision;
  }
  return { ...session, document: print(document), revision, tried: latest, acknowledged: latest, marks,
    base: {}, lost: [...session.lost, ...lost], stand: 'waiting', reason: '' };
}

// After a 409, when the engine's latest revision takes the whole session back: that stands, and what this device has added
// and the engine never had becomes a session of its own, named `id`; undefined when there is nothing.
export function partFrom(session: LocalSession, theirs: JsonObject, id: string, at: number): [LocalSession, LocalSession | undefined] {
  const mine = documentOf(session);
  const latest = Number(theirs['revision'] instanceof Num ? theirs['revision'].text : '0');
  const old: LocalSession = { ...session, document: print(theirs), revision: latest, tried: latest, acknowledged: latest, marks: {}, base: {},
    stand: 'withdrawn', reason: '', touched: at };
  const added = listAt(mine, 'entry').filter((one) => {
    const entry = textAt(one, 'id');
    return (session.marks[entry] ?? 0) > session.acknowledged && session.base[entry] === undefined;
  });
  if (added.length === 0) return [old, undefined];
  const { change: _, withdrawal: __, attestation: ___, ...frame } = mine;
  const document: JsonObject = { ...frame, identifier: { system: 'urn:ietf:rfc:3986', value: id }, revision: new Num('1'), status: 'open',
    period: { start: added.map((one) => timesOf(one).start).reduce(earliest) }, entry: added };
  return [old, { ...session, id, document: print(document), revision: 1, tried: 0, acknowledged: 0, landed: 0, session: '', stand: 'waiting',
    reason: '', marks: Object.fromEntries(added.map((one) => [textAt(one, 'id'), 1])), base: {}, lost: [], touched: at }];
}
