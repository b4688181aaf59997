// The ward list (GET /ward): who is here, with the plan in force. Kept sealed on this device, so that a round can begin
// without a network; it is then as old as the last contact, and the page says so.

import { now } from './clock';
import { ask, problemsOf } from './engine';
import { type Json, type JsonObject, isObject, listAt, objectAt, parse, textAt } from './json';
import { drawer } from './kept';

export interface Patient {
  key: string; // "system|value"
  code: string; // the identifier's value, as a wristband has it
  bed: string;
  name: string;
  birthDate: string;
  frame: JsonObject; // patient, order, earlier of the session document
  sheet: JsonObject | undefined; // when to stop and whom to call
}
export interface Person { key: string; display: string; discipline: string; role: string; frame: JsonObject }
export interface Ward { read: number; facility: JsonObject | undefined; sheet: JsonObject | undefined; patients: Patient[]; people: Person[]; anchors: JsonObject | undefined }

interface KeptWard { read: number; text: string }

export function keyOf(identified: JsonObject | undefined): string {
  const identifier = objectAt(identified, 'identifier');
  return `${textAt(identifier, 'system')}|${textAt(identifier, 'value')}`;
}

function wardOf(text: string, read: number): Ward {
  const root: Json = parse(text);
  if (!isObject(root)) throw new SyntaxError('no ward list');
  return {
    read,
    facility: objectAt(root, 'facility'),
    anchors: objectAt(root, 'anchors'),
    sheet: objectAt(root, 'sheet'),
    patients: listAt(root, 'patient').map((one) => {
      const patient = objectAt(one, 'patient') ?? {};
      return {
        key: keyOf(patient),
        code: textAt(objectAt(patient, 'identifier'), 'value'),
        bed: textAt(one, 'bed'),
        name: textAt(one, 'name'),
        birthDate: textAt(patient, 'birthDate'),
        frame: { patient, order: one['order'], earlier: one['earlier'] },
        sheet: objectAt(one, 'sheet'),
      };
    }),
    people: listAt(root, 'therapist').map((one) => ({
      key: `${keyOf(one)}|${textAt(one, 'display')}`,
      display: textAt(one, 'display'),
      discipline: textAt(one, 'discipline'),
      role: textAt(one, 'role'),
      frame: one,
    })),
  };
}

export interface WardAnswer { ward: Ward | undefined; problem: string }

export async function loadWard(): Promise<WardAnswer> {
  let problem = '';
  try {
    const answer = await ask('GET', '/ward');
    if (answer.status === 200) {
      const read = now();
      const ward = wardOf(answer.body, read);
      await drawer.keep('ward', { read, text: answer.body } satisfies KeptWard).catch(() => undefined);
      return { ward, problem: '' };
    }
    problem = problemsOf(answer)[0]?.text ?? '';
  } catch {
    problem = 'The engine does not answer. This is the ward list of the last contact.';
  }
  const old = await drawer.kept<KeptWard>('ward').catch(() => undefined);
  return { ward: old && wardOf(old.text, old.read), problem };
}

// By bed, name or code; a wristband reader types the code and ends with Enter.
export function search(ward: Ward, words: string): Patient[] {
  const wanted = words.trim().toLocaleLowerCase();
  if (wanted === '') return ward.patients;
  const exact = ward.patients.filter((one) => one.code.toLocaleLowerCase() === wanted);
  if (exact.length > 0) return exact;
  return ward.patients.filter((one) =>
    [one.bed, one.name, one.code].some((text) => text.toLocaleLowerCase().includes(wanted)));
}

