// What was recorded for a patient and where it stands: on this device, in the journal, in the chart. An entry is corrected
// or withdrawn here, with a reason.

import type { ComponentChildren, JSX } from 'preact';
import { useState } from 'preact/hooks';
import { isReported } from '../attested';
import { clockText, dayOf, now } from '../clock';
import { type JsonObject, listAt, objectAt, textAt } from '../json';
import type { Table } from '../plausibility';
import { type LocalSession, documentOf, entriesOf, isOpen, isTakenBack, timesOf } from '../session';
import { kStands } from '../words';
import { Correction } from './correction';
import { describe, kindWords } from './describe';

const kShown = 240; // letters of an entry in the list; the dialog has them all

export interface Amend { entry: JsonObject; withdrawn: boolean; reason: string }

function when(time: string): string {
  const at = Date.parse(time);
  return dayOf(at) === dayOf(now()) ? clockText(at) : `${dayOf(at)} ${clockText(at)}`;
}

function shorten(text: string): string {
  const letters = [...text];
  return letters.length > kShown ? `${letters.slice(0, kShown).join('')} …` : text;
}

// Where an entry stands: what the chart has not got yet stands where its session stands.
function standOf(session: LocalSession, entry: JsonObject): string {
  const mark = session.marks[textAt(entry, 'id')] ?? session.revision;
  return mark <= session.landed ? 'landed' : session.stand;
}

export function summary(session: LocalSession): string {
  const waiting = session.acknowledged < session.revision;
  if (session.stand === 'refused') return `Refused: ${session.reason}`;
  if (session.stand === 'held') return `Held: ${session.reason}`;
  if (waiting) return `${kStands['waiting']}, sent when the network is there`;
  return kStands[session.stand] ?? session.stand;
}

export function Receipts(p: {
  sessions: LocalSession[]; table: Table | undefined;
  onAmend: (session: LocalSession, amend: Amend) => void; onEnd: (session: LocalSession) => void; children?: ComponentChildren;
}): JSX.Element {
  return (
    <section class="receipts" aria-labelledby="receipts">
      {p.children}
      <h2 id="receipts">Recorded</h2>
      {p.sessions.length === 0 && <p class="none">Nothing yet from this device.</p>}
      {p.sessions.map((session) => <Receipt key={session.id} {...p} session={session} />)}
    </section>
  );
}

function Receipt(p: {
  session: LocalSession; table: Table | undefined;
  onAmend: (session: LocalSession, amend: Amend) => void; onEnd: (session: LocalSession) => void;
}): JSX.Element {
  const [chosen, choose] = useState<JsonObject>();
  const document = documentOf(p.session);
  if (isTakenBack(document)) return <TakenBack document={document} />;
  const entries = [...entriesOf(p.session)].sort((a, b) => Date.parse(timesOf(b).start) - Date.parse(timesOf(a).start));
  const start = textAt(objectAt(document, 'period'), 'start');
  const withdrawn = listAt(document, 'withdrawal').length;
  return (
    <article class="receipt">
      <header>
        <h3>Session of {when(start)}</h3>
        <p class={`stand is-${p.session.stand}`} data-stand={p.session.stand} data-session={p.session.session}>{summary(p.session)}</p>
        {isOpen(p.session) && <button type="button" class="plain" onClick={() => p.onEnd(p.session)}>End this session</button>}
      </header>
      {p.session.lost.length > 0 && <p class="judged confirm">Somebody else changed {p.session.lost.length === 1 ? 'an entry' : 'entries'}
        first; theirs is kept. Look at it and correct it again if it is wrong.</p>}
      <ul>
        {entries.map((entry) => {
          const stand = standOf(p.session, entry);
          return (
            <li key={textAt(entry, 'id')}>
              <button type="button" class="entry" onClick={() => choose(entry)}>
                <time>{when(timesOf(entry).start)}</time>
                <span class="entry-words"><b>{kindWords(entry)}</b> <span dir="auto">{shorten(describe(entry))}</span>
                  {isReported(document, entry) && <small> by the patient</small>}</span>
                <span class={`dot is-${stand}`} title={kStands[stand] ?? stand} />
                <span class="quiet">{kStands[stand] ?? stand}: correct or withdraw</span></button>
            </li>);
        })}
      </ul>
      {withdrawn > 0 && <p class="none">{withdrawn} withdrawn.</p>}
      {chosen && <Correction entry={chosen} table={p.table} device={deviceOf(chosen)} onClose={() => choose(undefined)}
        onAmend={(amend) => { choose(undefined); p.onAmend(p.session, amend); }} />}
    </article>
  );
}

// It was on the wrong patient, or should not have been there: nothing of it is shown or corrected here any more.
function TakenBack(p: { document: JsonObject }): JSX.Element {
  const change = objectAt(p.document, 'change');
  return (
    <article class="receipt">
      <header><h3>Session of {when(textAt(objectAt(p.document, 'period'), 'start'))}</h3>
        <p class="stand is-withdrawn" data-stand="withdrawn">Taken back as a whole</p></header>
      <p class="none"><bdi>{textAt(change, 'reason')}</bdi></p>
    </article>
  );
}

function deviceOf(entry: JsonObject): string {
  return textAt(objectAt(objectAt(entry, 'vitals'), 'oxygen'), 'device');
}
