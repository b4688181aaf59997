// Whose entries a therapist has to look through, and which are looked through: attestation[] of the session document.
// What a patient or somebody of the family reports is shown apart until then. Pure.

import { isObject, type Json, type JsonObject, listAt, objectAt, textAt } from './json';

const kReporters = new Set(['patient', 'family']);
const kLearners = new Set(['assistant', 'student']);

function roleOf(document: JsonObject, entry: JsonObject): string {
  return textAt(objectAt(entry, 'recordedBy') ?? objectAt(document, 'therapist'), 'role');
}

// Of single entries, or of the whole session when it names none.
export function isAttested(document: JsonObject, entry: JsonObject): boolean {
  return listAt(document, 'attestation').some((one) => {
    const ids = one['entry'];
    return !Array.isArray(ids) || ids.includes(textAt(entry, 'id'));
  });
}

function identityOf(person: Json | undefined): string {
  const identifier = isObject(person) ? objectAt(person, 'identifier') : undefined;
  return identifier ? `${textAt(identifier, 'system')}|${textAt(identifier, 'value')}` : '';
}

// Of the attestations of a document what is left after a change: they stand for what was looked at, so not for an entry that
// somebody else changed since, nor for one that is gone. `stay`: ids of the entries there are now.
export function keptAttestations(document: JsonObject, stay: Set<string>, changed: Set<string>, author: Json): JsonObject[] | undefined {
  const all = listAt(document, 'entry').map((one) => textAt(one, 'id'));
  const kept = listAt(document, 'attestation').map((one) => {
    const own = identityOf(one['by']) !== '' && identityOf(one['by']) === identityOf(author);
    const stands = (id: string): boolean => stay.has(id) && (own || !changed.has(id));
    const ids = one['entry'];
    if (!Array.isArray(ids)) return all.every(stands) ? one : { ...one, entry: all.filter(stands) };
    return { ...one, entry: ids.filter((id) => typeof id === 'string' && stands(id)) };
  }).filter((one: JsonObject) => !Array.isArray(one['entry']) || one['entry'].length > 0);
  return kept.length > 0 ? kept : undefined;
}

export function isReported(document: JsonObject, entry: JsonObject): boolean {
  return kReporters.has(roleOf(document, entry));
}

// Reported by the patient and not looked through.
export function isApart(document: JsonObject, entry: JsonObject): boolean {
  return isReported(document, entry) && !isAttested(document, entry);
}

export function needsLook(document: JsonObject, entry: JsonObject): boolean {
  const role = roleOf(document, entry);
  return (kReporters.has(role) || kLearners.has(role)) && !isAttested(document, entry);
}

// "the patient", "an assistant: Lee Sample"
export function authorWords(document: JsonObject, entry: JsonObject): string {
  const role = roleOf(document, entry);
  const name = textAt(objectAt(entry, 'recordedBy') ?? objectAt(document, 'therapist'), 'display');
  if (role === 'patient') return 'the patient';
  if (role === 'family') return 'the family';
  return `${role === 'assistant' ? 'an assistant' : 'a student'}: ${name}`;
}
