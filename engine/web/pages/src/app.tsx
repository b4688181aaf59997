// The frame around the pages: who works here, which patient, whether the network and the engine are there, what waits.

import type { JSX } from 'preact';
import { useEffect, useState } from 'preact/hooks';
import { clockOffset, clockText, kWorthTelling } from './clock';
import { useOnline, useSessions, useTable } from './hooks';
import { keep, kept } from './kept';
import { unsent, wake } from './outbox';
import { Progress } from './progress/progress';
import { Handout } from './round/handout';
import { Patients } from './round/patients';
import { Round } from './round/round';
import { SignIn, SignedIn, isStranger, useMe } from './sign_in';
import { type Patient, type Person, type WardAnswer, loadWard } from './ward';

const kLookAgain = 60_000; // milliseconds between two readings of the ward list

function useWard(known: boolean): WardAnswer | undefined {
  const [answer, set] = useState<WardAnswer>();
  useEffect(() => {
    if (!known) return undefined;
    const load = (): void => void loadWard().then(set);
    load();
    const timer = setInterval(() => { if (!document.hidden) load(); }, kLookAgain);
    addEventListener('online', load);
    return () => {
      clearInterval(timer);
      removeEventListener('online', load);
    };
  }, [known]);
  return answer;
}

function usePerson(people: Person[]): [Person | undefined, (key: string) => void] {
  const [key, set] = useState('');
  useEffect(() => void kept<string>('person').then((one) => { if (one) set(one); }, () => undefined), []);
  return [people.find((one) => one.key === key), (one) => {
    set(one);
    void keep('person', one).catch(() => undefined);
  }];
}

// The chosen patient is in this page's memory and never in its address; the browser's way back leads to the ward list.
function usePatient(patients: Patient[]): [Patient | undefined, (patient: Patient | undefined) => void] {
  const [key, set] = useState<string>();
  useEffect(() => {
    const back = (): void => { if ((history.state as { open?: boolean } | null)?.open !== true) set(undefined); };
    addEventListener('popstate', back);
    return () => removeEventListener('popstate', back);
  }, []);
  return [patients.find((one) => one.key === key), (patient) => {
    if (patient === undefined) {
      if ((history.state as { open?: boolean } | null)?.open === true) history.back();
      set(undefined);
      return;
    }
    if (key === undefined) history.pushState({ open: true }, '');
    set(patient.key);
    scrollTo({ top: 0 });
  }];
}

export function App(): JSX.Element {
  const [me, setMe] = useMe();
  const stranger = isStranger(me);
  const answer = useWard(me !== undefined && !stranger);
  const sessions = useSessions();
  const table = useTable();
  const online = useOnline();
  const ward = answer?.ward;
  const [person, choosePerson] = usePerson(ward?.people ?? []);
  const [patient, choosePatient] = usePatient(ward?.patients ?? []);
  const [view, setView] = useState<'round' | 'progress' | 'sheet'>('round');
  const waiting = unsent(sessions).length;
  const connected = online && !answer?.problem;
  const offset = clockOffset();
  return (
    <>
      <header class="top">
        {patient && !stranger && <button type="button" class="plain back" onClick={() => choosePatient(undefined)} aria-label="Ward list">‹ Ward</button>}
        {patient && !stranger ? <div class="views" role="group" aria-label="Shown">{([['round', 'Round'], ['progress', 'Progress']] as const).map(([one, label]) => (
          <button type="button" class="view" key={one} aria-pressed={view === one} onClick={() => setView(one)}>{label}</button>))}</div>
          : <h1 class="brand">Round</h1>}
        <span class={`link ${connected ? 'is-on' : 'is-off'}`} role="status">
          {connected ? <span class="on-word">Connected</span> : online ? 'Engine away' : 'Offline'}
          {waiting > 0 && <b> {waiting} waiting</b>}</span>
        {ward && !stranger && !(patient && view === 'progress') && <label class="person"><span class="quiet">Recorded by</span>
          <select value={person?.key ?? ''} onChange={(event) => choosePerson(event.currentTarget.value)}>
            <option value="">Who are you?</option>
            {ward.people.map((one) => <option value={one.key} key={one.key}>{one.display}, {one.discipline}</option>)}
          </select></label>}
      </header>
      {answer?.problem && !stranger && <p class="banner" role="alert">{answer.problem}{ward && ` Ward list of ${clockText(ward.read)}.`}</p>}
      {Math.abs(offset) > kWorthTelling && <p class="banner">This device's clock is {Math.round(Math.abs(offset) / 60_000)} minutes
        {offset > 0 ? ' slow' : ' fast'}. Times are recorded by the engine's clock.</p>}
      {stranger && <SignIn hint="What you recorded on this device stays on it and goes when you are signed in."
        onDone={(one) => { setMe(one); wake(); }} />}
      {me && me.display !== '' && !patient && <SignedIn me={me} onOut={setMe} />}
      <main class={patient ? 'has-patient' : ''} hidden={stranger}>
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
