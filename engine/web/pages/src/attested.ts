// Whose entries a therapist has to look through, and which are looked through: attestation[] of the session document.
// What a patient or somebody of the family reports is shown apart until then. Pure.

import { type JsonObject, listAt, objectAt, textAt } from './json';

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
