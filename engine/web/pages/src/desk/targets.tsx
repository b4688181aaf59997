// The record servers: how each does, what it can do, its limits, pausing it.

import type { JSX } from 'preact';
import { useContext, useState } from 'preact/hooks';
import { type JsonObject, isObject, listAt, numberAt, objectAt, textAt } from '../json';
import { SignedInAs, may } from '../sign_in';
import { type Told, told, useTold } from './asking';
import type { News } from './follow';
import { clock, since, standWords, targetWords } from './stand';
import { type Act, WhoDialog } from './who';

const kGrades: Record<string, string> = { there: 'There', absent: 'Not there', needed: 'Needed, and not there' };

function Abilities(p: { answer: Told }): JSX.Element {
  const rows = listAt(p.answer.value, 'abilities');
  const ready = isObject(p.answer.value) && p.answer.value['ready'] === true;
  return (
    <div role="status">
      {p.answer.loading && <p class="none">Asking …</p>}
      {p.answer.problem && <p class="judged refuse">{p.answer.problem}</p>}
      {rows.length > 0 && <>
        <p class={`judged ${ready ? 'note' : 'refuse'}`}>{ready ? 'Everything that is needed is there.' : 'Something that is needed is not there.'}</p>
        <table class="list"><caption class="quiet">What the record server can do</caption>
          <thead><tr><th scope="col">Ability</th><th scope="col">Grade</th><th scope="col">Found, or what follows</th></tr></thead>
          <tbody>{rows.map((one) => <tr key={textAt(one, 'name')}>
            <td>{textAt(one, 'name')}</td>
            <td><span class={`stand is-${textAt(one, 'grade') === 'there' ? 'landed' : textAt(one, 'grade') === 'needed' ? 'refused' : 'held'}`}>
              {kGrades[textAt(one, 'grade')] ?? textAt(one, 'grade')}</span></td>
            <td>{textAt(one, 'consequence') || textAt(one, 'found')}</td></tr>)}</tbody></table></>}
    </div>
  );
}

function Target(p: { target: JsonObject; onAct: (act: Act) => void }): JSX.Element {
  const [asked, setAsked] = useState<Told>();
  const steers = may(useContext(SignedInAs), 'steer-targets');
  const name = textAt(p.target, 'target');
  const state = textAt(p.target, 'state');
  const gone = state === 'not-configured';
  const by = objectAt(p.target, 'pausedBy');
  const backlog = objectAt(p.target, 'backlog') ?? {};
  const limits = objectAt(p.target, 'limits');
  const error = objectAt(p.target, 'lastError');
  const ask = async (): Promise<void> => {
    setAsked({ value: undefined, problem: '', loading: true });
    setAsked(await told('POST', `/targets/${encodeURIComponent(name)}/preflight`, '{}'));
  };
  const rows: [string, string][] = [
    ['Waiting', Object.keys(backlog).map((one) => `${numberAt(backlog, one)} ${standWords(one).toLowerCase()}`).join(', ') || 'nothing'],
    ['Oldest waits', textAt(p.target, 'oldestWaiting') && `${since(textAt(p.target, 'oldestWaiting'))}, since ${clock(textAt(p.target, 'oldestWaiting'))}`],
    ['Last landing', textAt(p.target, 'lastLanding') && clock(textAt(p.target, 'lastLanding'))],
    ['Last error', error ? `${textAt(error, 'code')}${numberAt(error, 'status') && `, HTTP ${numberAt(error, 'status')}`}, ${clock(textAt(error, 'time'))}` : ''],
    ...(gone ? [] : [['Sends', textAt(p.target, 'mode') === 'transaction' ? 'a session as one transaction' : textAt(p.target, 'mode')] as [string, string],
    ['Under way', `${numberAt(p.target, 'inFlight')} of at most ${numberAt(limits, 'inFlight')}`] as [string, string],
    ['Pace', numberAt(limits, 'requestsPerSecond') && `at most ${numberAt(limits, 'requestsPerSecond')} requests a second`] as [string, string]]),
  ];
  return (
    <section class="sheet" aria-label={name}>
      <header><h2>{name}</h2><span class={`stand ${state === 'sending' ? 'is-landed' : 'is-held'}`}>
        {targetWords(state)}</span></header>
      {by && <p class="judged confirm">Paused by <bdi>{textAt(by, 'actor')}</bdi> {clock(textAt(by, 'since'))}: <bdi>{textAt(by, 'why')}</bdi></p>}
      {state === 'waiting' && <p class="judged confirm">The server is away or busy ({textAt(p.target, 'reason')}); it is tried again by itself.</p>}
      <dl class="facts">{rows.filter(([, value]) => value !== '').map(([label, value]) => (
        <div key={label}><dt>{label}</dt><dd>{value}</dd></div>))}</dl>
      {gone && <p class="judged confirm">It is not in the configuration, so nothing is sent to it. Configure it again, or give up what waits.</p>}
      {!gone && steers && <div class="row">
        <button type="button" class="chip" onClick={() => p.onAct(state === 'paused'
          ? { title: `Resume ${name}`, path: `/targets/${encodeURIComponent(name)}/resume`, button: 'Resume',
              explain: 'What waits is sent, in each patient’s order.' }
          : { title: `Pause ${name}`, path: `/targets/${encodeURIComponent(name)}/pause`, button: 'Pause',
              explain: 'Nothing more is sent to it until it is resumed; what is under way ends. Sessions are taken in as before.' })}>
          {state === 'paused' ? 'Resume' : 'Pause'}</button>
        <button type="button" class="chip" disabled={asked?.loading === true} onClick={() => void ask()}>Ask what it can do</button>
      </div>}
      {asked && <Abilities answer={asked} />}
    </section>
  );
}

export function Targets(p: { news: News }): JSX.Element {
  const [act, setAct] = useState<Act>();
  const [done, setDone] = useState(0);
  const answer = useTold('GET', '/targets', undefined, p.news.count + done);
  const list = Array.isArray(answer.value) ? answer.value.filter(isObject) : [];
  return (
    <section class="room" aria-label="Targets">
      <h1>Targets</h1>
      {answer.problem && <p class="banner" role="alert">{answer.problem}</p>}
      {!answer.loading && !answer.problem && list.length === 0 && <p class="none">No record server is configured: sessions wait.</p>}
      {list.map((one) => <Target key={textAt(one, 'target')} target={one} onAct={setAct} />)}
      {act && <WhoDialog act={act} onClose={() => setAct(undefined)} onDone={() => { setAct(undefined); setDone(done + 1); }} />}
    </section>
  );
}
