// The last values of a patient: of this device's sessions, of the journal (POST /history), and of what the ward list
// calls earlier, whichever is latest; what the patient reported counts once it is looked through. They are shown beside a control and never recorded by themselves.

import { isApart } from '../attested';
import { ask } from '../engine';
import { type JsonObject, amountAt, listAt, objectAt, parse, print, textAt } from '../json';
import { takenBack } from '../outbox';
import { type LocalSession, type Stand, documentOf, isTakenBack, timesOf } from '../session';
import type { Patient } from '../ward';

export interface Last {
  saturation?: string; device?: string; flow?: string; pulse?: string; breathingRate?: string;
  bestVolume?: string; volume?: string; earlierBest?: string; earlierLowest?: string;
  at?: string; // of the vitals
}
export interface Known { session: string; stand: Stand; text: string; document: JsonObject }

// Rejects without a network.
export async function history(patient: Patient): Promise<Known[]> {
  const identifier = objectAt(patient.frame['patient'], 'identifier') ?? {};
  const asked = JSON.stringify({ system: textAt(identifier, 'system'), value: textAt(identifier, 'value') });
  const answer = await ask('POST', '/history', asked);
  if (answer.status !== 200) throw new Error(`history: ${answer.status}`);
  const told = listAt(parse(answer.body), 'sessions').map((one) => {
    const document = objectAt(one, 'document') ?? {};
    return { session: textAt(one, 'session'), stand: textAt(one, 'state') as Stand, text: print(document), document };
  });
  const counts = told.filter((one) => !isTakenBack(one.document));
  for (const { document } of told) {
    if (isTakenBack(document)) void takenBack(textAt(objectAt(document, 'identifier'), 'value'), document).catch(() => undefined);
  }
  return counts;
}

function exerciserBest(entry: JsonObject): string {
  const volumes = listAt(objectAt(entry, 'breathingExerciser'), 'repetition').map((one) => amountAt(one, 'volume'));
  return volumes.reduce((best, one) => (Number(one) > Number(best || '0') ? one : best), '');
}

export function lastOf(patient: Patient, local: LocalSession[], known: Known[]): Last {
  const here = new Map(local.filter((one) => one.patient === patient.key).map((one) => [one.id, documentOf(one)] as const)
    .filter(([, document]) => !isTakenBack(document)));
  for (const one of known) {
    const id = textAt(objectAt(one.document, 'identifier'), 'value');
    if (!here.has(id)) here.set(id, one.document);
  }
  const entries = [...here.values()].flatMap((one) => listAt(one, 'entry').filter((entry) => !isApart(one, entry)))
    .sort((a, b) => Date.parse(timesOf(a).start) - Date.parse(timesOf(b).start));
  const last: Last = {};
  const earlier = patient.frame['earlier'];
  for (const one of Array.isArray(earlier) ? listAt({ earlier }, 'earlier') : []) {
    last.earlierBest = amountAt(one, 'bestInspiredVolume') || last.earlierBest || '';
    last.earlierLowest = amountAt(one, 'lowestSaturation') || last.earlierLowest || '';
  }
  for (const entry of entries) {
    const vitals = objectAt(entry, 'vitals');
    if (vitals) {
      for (const name of ['saturation', 'pulse', 'breathingRate'] as const) {
        const value = amountAt(vitals, name);
        if (value) last[name] = value;
      }
      const oxygen = objectAt(vitals, 'oxygen');
      if (oxygen) {
        last.device = textAt(oxygen, 'device');
        last.flow = amountAt(oxygen, 'flow');
      }
      last.at = timesOf(entry).start;
    }
    const best = exerciserBest(entry);
    if (best) {
      last.volume = best;
      if (Number(best) > Number(last.bestVolume ?? '0')) last.bestVolume = best;
    }
  }
  return last;
}
