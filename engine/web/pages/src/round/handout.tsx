// The sheet for the patient: a page to print, and, when wanted, a link for the phone that works for a day. The link is
// shown this once; the engine keeps only a keyed hash of it.

import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import { clockText, dayOf, now } from '../clock';
import { ask, problemsOf } from '../engine';
import { numberAt, objectAt, parse, textAt } from '../json';
import { type Link, Paper } from '../sheet/paper';
import { planOfWard } from '../sheet/plan';
import { grouped } from '../sheet/token';
import type { Patient, Person, Ward } from '../ward';

function forWhom(patient: Patient, person: Person): string {
  const named = (frame: Parameters<typeof objectAt>[0]): { system: string; value: string } => {
    const identifier = objectAt(frame, 'identifier');
    return { system: textAt(identifier, 'system'), value: textAt(identifier, 'value') };
  };
  return JSON.stringify({ patient: named(patient.frame['patient']),
    therapist: { ...named(person.frame), display: person.display } });
}

async function told(path: string, patient: Patient, person: Person): Promise<{ body: ReturnType<typeof parse>; problem: string }> {
  try {
    const answer = await ask('POST', path, forWhom(patient, person));
    if (answer.status < 300) return { body: parse(answer.body), problem: '' };
    return { body: null, problem: problemsOf(answer)[0]?.text ?? '' };
  } catch {
    return { body: null, problem: 'The engine does not answer. The sheet can be printed without a link.' };
  }
}

export function Handout(p: { ward: Ward; patient: Patient; person: Person | undefined; onClose: () => void }): JSX.Element {
  const [link, setLink] = useState<Link>();
  const [said, say] = useState('');
  const [busy, setBusy] = useState(false);
  const { person } = p;
  const may = person?.role === 'therapist';
  const run = (work: () => Promise<void>): void => {
    setBusy(true);
    void work().finally(() => setBusy(false));
  };
  const make = async (one: Person): Promise<void> => {
    const { body, problem } = await told('/sheets', p.patient, one);
    if (problem) return say(problem);
    const until = Date.parse(textAt(body, 'expires'));
    setLink({ address: `${location.origin}/sheet#${grouped(textAt(body, 'token'))}`, until: `${dayOf(until)}, ${clockText(until)}` });
    return say('The link is on the sheet. It is shown only now.');
  };
  const end = async (one: Person): Promise<void> => {
    const { body, problem } = await told('/sheets/end', p.patient, one);
    if (problem) return say(problem);
    setLink(undefined);
    const count = numberAt(body, 'ended');
    return say(count === '0' ? 'No link was open.' : `${count} ${count === '1' ? 'link does' : 'links do'} not work any more.`);
  };
  return (
    <section class="handout" aria-label="Sheet for the patient">
      <div class="handout-tools">
        <button type="button" class="plain" onClick={p.onClose}>‹ Round</button>
        <button type="button" class="chip" disabled={!may || busy} onClick={() => person && run(() => make(person))}>
          {link ? 'Another link' : 'Add a link for the phone'}</button>
        <button type="button" class="plain" disabled={!may || busy} onClick={() => person && run(() => end(person))}>End the links</button>
        <button type="button" class="send" onClick={() => window.print()}>Print</button>
        <p class="said" role="status">{said}{!person && 'Choose at the top who you are to add a link.'}
          {person && !may && 'A link is handed out by somebody in the role of a therapist.'}</p>
      </div>
      <Paper plan={planOfWard(p.ward, p.patient)} day={dayOf(now())} link={link} />
    </section>
  );
}
