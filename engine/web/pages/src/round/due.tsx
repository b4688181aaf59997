// What is due this hour, by the order and by what is recorded: of the exerciser, the only thing that an order gives by
// the hour. Nothing recorded is "not recorded", which is not "not done".

import type { JSX } from 'preact';
import { isApart } from '../attested';
import { clockText, now } from '../clock';
import { type JsonObject, listAt, numberAt, objectAt, textAt } from '../json';
import { type LocalSession, documentOf, timesOf } from '../session';
import type { Known } from './last';

// As a number when the volume was not read of each.
function breathsOf(set: JsonObject | undefined): number {
  return Number(numberAt(set, 'breaths') || '0') || listAt(set, 'repetition').length;
}

export interface Due { ordered: number; recorded: number; from: string; to: string }

// undefined when nothing is ordered by the hour, or the patient should be asleep.
export function dueOf(order: JsonObject | undefined, documents: JsonObject[], at: number): Due | undefined {
  const breathing = objectAt(order, 'breathing');
  const ordered = Number(numberAt(breathing, 'breathsPerSet') || '0') * Number(numberAt(breathing, 'setsPerHour') || '0');
  const clock = `${clockText(at)}:00`;
  const from = textAt(breathing, 'wakingFrom');
  const to = textAt(breathing, 'wakingTo');
  if (!(ordered > 0) || (from !== '' && clock < from) || (to !== '' && clock >= to)) return undefined;
  const start = new Date(at).setMinutes(0, 0, 0);
  const end = start + 3_600_000;
  // What the patient reported counts once a therapist has looked at it.
  const recorded = documents.flatMap((one) => listAt(one, 'entry').filter((entry) => !isApart(one, entry)))
    .filter((one) => objectAt(one, 'breathingExerciser') !== undefined)
    .filter((one) => { const time = Date.parse(timesOf(one).end); return time >= start && time < end; })
    .reduce((sum, one) => sum + breathsOf(objectAt(one, 'breathingExerciser')), 0);
  return { ordered, recorded, from: clockText(start), to: clockText(end) };
}

export function DueNow(p: {
  order: JsonObject | undefined; sessions: LocalSession[]; known: Known[]; onGo: () => void;
}): JSX.Element | null {
  // The device's own documents are newer than the journal's of the same session.
  const documents = new Map(p.known.map((one) => [textAt(objectAt(one.document, 'identifier'), 'value'), one.document]));
  for (const one of p.sessions) documents.set(one.id, documentOf(one));
  const due = dueOf(p.order, [...documents.values()], now());
  if (!due) return null;
  const left = due.ordered - due.recorded;
  return (
    <p class={`due ${left > 0 ? 'is-open' : ''}`}>
      <b>{due.from} to {due.to}</b>{' '}
      {left > 0 ? <>{left} of {due.ordered} ordered breaths {due.recorded === 0 ? 'not recorded yet' : 'left'}.{' '}
        <button type="button" class="plain" onClick={p.onGo}>To the exerciser</button></>
        : `the ${due.ordered} ordered breaths are recorded.`}
    </p>
  );
}
