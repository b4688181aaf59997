// What a therapist works with: the ward list, one patient, whether the network and the engine are there, what waits.

import type { ComponentChildren, JSX } from 'preact';
import { useEffect, useState } from 'preact/hooks';
import { clockOffset, clockText, kWorthTelling } from './clock';
import { useHead, useOnline, useSessions, useTable } from './hooks';
import { drawer } from './kept';
import { unsent } from './outbox';
import { noteWaiting } from './owner';
import { Progress } from './progress/progress';
import { Handout } from './round/handout';
import { Patients } from './round/patients';
import { Round } from './round/round';
import type { Me } from './sign_in';
import { type Patient, type Person, type WardAnswer, loadWard } from './ward';

const kLookAgain = 60_000; // milliseconds between two readings of the ward list

export interface Place { patient: string | undefined; view: 'round' | 'progress' | 'sheet' } // patient: key
export const kWardList: Place = { patient: undefined, view: 'round' };

function useWard(known: boolean): WardAnswer | undefined {
  const [answer, set] = useState<WardAnswer>();
  useEffect(() => {
    if (!known) return undefined;
    let here = true;
    const load = (): void => void loadWard().then((one) => { if (here) set(one); });
    load();
    const timer = setInterval(() => { if (!document.hidden) load(); }, kLookAgain);
    addEventListener('online', load);
    return () => {
      here = false;
      clearInterval(timer);
      removeEventListener('online', load);
    };
  }, [known]);
  return answer;
}

// Who records: as chosen last by who is signed in, else the one of the ward list who has the same name.
function usePerson(people: Person[], display: string): [Person | undefined, (key: string) => void] {
  const [key, set] = useState<string>();
  useEffect(() => void drawer.kept<string>('person').then((one) => set(one ?? ''), () => set('')), []);
  const same = people.filter((one) => display !== '' && one.display === display);
  const chosen = people.find((one) => one.key === key) ?? (key === '' && same.length === 1 ? same[0] : undefined);
  return [chosen, (one) => {
    set(one);
    void drawer.keep('person', one).catch(() => undefined);
  }];
}

// The chosen patient is in this page's memory and never in its address; the browser's way back leads to the ward list.
function useWayBack(place: Place, onPlace: (place: Place) => void): (patient: Patient | undefined) => void {
  const isOpen = (): boolean => (history.state as { open?: boolean } | null)?.open === true;
  useEffect(() => {
    const back = (): void => { if (!isOpen()) onPlace({ ...place, patient: undefined }); };
    addEventListener('popstate', back);
    return () => removeEventListener('popstate', back);
  }, [place]);
  return (patient) => {
    if (patient === undefined) {
      if (isOpen()) history.back();
      onPlace({ ...place, patient: undefined });
      return;
    }
    if (place.patient === undefined && !isOpen()) history.pushState({ open: true }, '');
    onPlace({ ...place, patient: patient.key });
    scrollTo({ top: 0 });
  };
}

export function Work(p: {
  me: Me | undefined; place: Place; onPlace: (place: Place) => void; head: ComponentChildren;
}): JSX.Element {
  const answer = useWard(p.me !== undefined);
  const sessions = useSessions();
  const table = useTable();
  const online = useOnline();
  const ward = answer?.ward;
  const [person, choosePerson] = usePerson(ward?.people ?? [], p.me?.display ?? '');
  const choosePatient = useWayBack(p.place, p.onPlace);
  const patient = ward?.patients.find((one) => one.key === p.place.patient);
  const { view } = p.place;
  const setView = (next: Place['view']): void => p.onPlace({ ...p.place, view: next });
  const waiting = unsent(sessions).length;
  useEffect(() => void noteWaiting(waiting).catch(() => undefined), [waiting]);
  const head = useHead();
  const connected = online && !answer?.problem;
  const offset = clockOffset();
  return (
    <>
      <header class="top" {...head}>
        {patient && <button type="button" class="plain back" onClick={() => choosePatient(undefined)} aria-label="Ward list">‹ Ward</button>}
        {patient ? <div class="views" role="group" aria-label="Shown">{([['round', 'Round'], ['progress', 'Progress']] as const).map(([one, label]) => (
          <button type="button" class="view" key={one} aria-pressed={view === one} onClick={() => setView(one)}>{label}</button>))}</div>
          : <h1 class="brand">Round</h1>}
        <span class={`link ${connected ? 'is-on' : 'is-off'}`} role="status">
          {connected ? <span class="on-word">Connected</span> : online ? 'Engine away' : 'Offline'}
          {waiting > 0 && <b> {waiting} waiting</b>}</span>
        {ward && !(patient && view === 'progress') && <label class="person"><span class="quiet">Recorded by</span>
          <select value={person?.key ?? ''} onChange={(event) => choosePerson(event.currentTarget.value)}>
            <option value="">Who are you?</option>
            {ward.people.map((one) => <option value={one.key} key={one.key}>{one.display}, {one.discipline}</option>)}
          </select></label>}
      </header>
      {answer?.problem && <p class="banner" role="alert">{answer.problem}{ward && ` Ward list of ${clockText(ward.read)}.`}</p>}
      {Math.abs(offset) > kWorthTelling && <p class="banner">This device's clock is {Math.round(Math.abs(offset) / 60_000)} minutes
        {offset > 0 ? ' slow' : ' fast'}. Times are recorded by the engine's clock.</p>}
      {!patient && p.head}
      <main class={patient ? 'has-patient' : ''}>
        {!answer && <p class="opening">Opening …</p>}
        {ward && <Patients ward={ward} chosen={patient?.key} sessions={sessions} onPatient={choosePatient} />}
        {ward && patient && view === 'progress' && <Progress key={patient.key} patient={patient} />}
        {ward && patient && view === 'round' && person && <Round key={`${patient.key} ${person.key}`} ward={ward} patient={patient} person={person}
          sessions={sessions} table={table} online={online} onSheet={() => { setView('sheet'); scrollTo({ top: 0 }); }} />}
        {ward && patient && view === 'sheet' && <Handout key={patient.key} ward={ward} patient={patient} person={person} onClose={() => setView('round')} />}
        {ward && patient && view === 'round' && !person && <p class="ask">Choose at the top who you are; every entry carries the name.</p>}
        {ward && !patient && <p class="ask wide-only">Choose a patient.</p>}
      </main>
    </>
  );
}
