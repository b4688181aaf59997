// What is where: the record servers in a line each, and the messages, the held ones first to hand.

import { Fragment, type JSX } from 'preact';
import { useContext, useState } from 'preact/hooks';
import { Choice } from '../controls';
import { type JsonObject, isObject, listAt, numberAt, objectAt, textAt } from '../json';
import { SignedInAs, may } from '../sign_in';
import { isHalf, kHalf, useTold } from './asking';
import type { News } from './follow';
import { type Column, LongTable } from './long_table';
import { Stand, clock, since, standWords, targetWords } from './stand';
import { useLong } from './use_long';

const kStates: [string, string][] = [['held', 'Held'], ['accepted', 'Taken in'], ['checked', 'Checked'],
  ['dispatched', 'On its way'], ['landed', 'In the chart']];
const kMostJournalled = 20_000; // rows of a search that is written into the log with every page
const kUuid = /^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$/;

function Load(p: { target: JsonObject; landed: number[]; alone: boolean }): JSX.Element {
  const backlog = objectAt(p.target, 'backlog') ?? {};
  const counts = Object.keys(backlog).map((state) => `${numberAt(backlog, state)} ${standWords(state).toLowerCase()}`);
  const state = textAt(p.target, 'state');
  const oldest = textAt(p.target, 'oldestWaiting');
  const last = textAt(p.target, 'lastLanding');
  return (
    <li class="load">
      <b>{textAt(p.target, 'target')}</b>
      <span class={`stand ${state === 'sending' ? 'is-landed' : 'is-held'}`}>
        {targetWords(state)}</span>
      <span>{counts.length > 0 ? counts.join(', ') : 'nothing waits'}</span>
      {oldest && <span>oldest waits {since(oldest)}</span>}
      {p.alone && <span>{p.landed.length} landed in the last minute</span>}
      {last && <span class="none">last landing {clock(last)}</span>}
    </li>
  );
}

interface Wish { state: string; session: string; system: string; value: string; since: string; until: string }
const kNothing: Wish = { state: '', session: '', system: '', value: '', since: '', until: '' };

// An instant of a "datetime-local" field.
function instant(local: string): string {
  const at = new Date(local);
  return Number.isNaN(at.getTime()) ? '' : at.toISOString();
}

function bodyOf(wish: Wish, before: string): string {
  const members: Record<string, unknown> = {};
  if (wish.state) members['state'] = wish.state;
  if (wish.session) members['session'] = wish.session;
  if (wish.value) members['patient'] = { system: wish.system, value: wish.value };
  if (wish.since) members['since'] = instant(wish.since);
  if (wish.until) members['until'] = instant(wish.until);
  if (before) members['before'] = Number(before);
  return JSON.stringify(members);
}

function Search(p: { wish: Wish; onWish: (wish: Wish) => void }): JSX.Element {
  const [typed, type] = useState(p.wish);
  const field = (name: keyof Wish, label: string, kind = 'text', hint = ''): JSX.Element => (
    <label class="searched">{label}
      <input type={kind} value={typed[name]} autocomplete="off" spellcheck={false} maxLength={300} placeholder={hint}
        onInput={(event) => type({ ...typed, [name]: event.currentTarget.value.trim() })} /></label>);
  const wrong = typed.session !== '' && !kUuid.test(typed.session.toLowerCase()) ? "A session's id has 32 hexadecimal digits in five groups."
    : isHalf(typed.system, typed.value) ? kHalf : '';
  return (
    <details class="search">
      <summary>Search</summary>
      <form onSubmit={(event) => {
        event.preventDefault();
        if (wrong === '') p.onWish({ ...typed, session: typed.session.toLowerCase(), state: p.wish.state });
      }}>
        {field('session', 'Session', 'text', 'the id of its receipt')}
        {field('system', 'Patient identifier: system')}
        {field('value', 'Patient identifier: value')}
        {field('since', 'Taken in from', 'datetime-local')}
        {field('until', 'Taken in before', 'datetime-local')}
        <div class="row end">
          {wrong && <span class="judged refuse" role="alert">{wrong}</span>}
          <button type="button" class="plain" onClick={() => { type(kNothing); p.onWish({ ...kNothing, state: p.wish.state }); }}>Clear</button>
          <button type="submit" class="chip">Search</button>
        </div>
        <p class="none">A search by patient is itself written into the log.</p>
      </form>
    </details>
  );
}

const kColumns: Column[] = [{ title: 'Session', class: 'of' }, { title: 'Taken in', class: 'time' }, { title: 'Stands', class: 'said' }];

function cellsOf(message: JsonObject, named: boolean, tab: number): JSX.Element[] {
  const session = textAt(message, 'session');
  const revision = numberAt(message, 'revision');
  const received = textAt(message, 'received');
  const held = (leg: JsonObject): number => (textAt(leg, 'state') === 'held' ? 0 : 1);
  const legs = listAt(message, 'targets').sort((a, b) => held(a) - held(b)); // a row shows no more than a few
  return [
    <><a class="whole" href={`#message/${session}/${revision}`} tabIndex={tab}><span class="id">{session.slice(0, 8)}</span>
      <span class="quiet"> session {session}</span></a>{revision !== '1' && <span class="none"> revision {revision}</span>}</>,
    <time dateTime={received}>{clock(received)}</time>,
    <>{legs.map((leg) => <Fragment key={textAt(leg, 'target')}><Stand leg={leg} named={named || legs.length > 1} brief={legs.length > 1} />{' '}</Fragment>)}</>,
  ];
}

export function Traffic(p: { news: News }): JSX.Element {
  const [wish, setWish] = useState<Wish>(kNothing);
  // A search by patient is journalled each time, so it is not asked again with every event, and nothing of it is let go.
  const long = useLong({ path: '/traffic', member: 'messages', key: JSON.stringify(wish), bodyOf: (before) => bodyOf(wish, before),
    news: wish.value ? 0 : p.news.count, most: wish.value ? kMostJournalled : Infinity, lean: wish.value === '' });
  const targets = useTold('GET', may(useContext(SignedInAs), 'see-targets') ? '/targets' : '', undefined, p.news.count);
  const servers = Array.isArray(targets.value) ? targets.value.filter(isObject) : [];
  const named = servers.length > 1;
  return (
    <section class="room" aria-label="Traffic">
      <h1>Traffic</h1>
      {targets.problem && <p class="banner" role="alert">{targets.problem}</p>}
      <ul class="loads" aria-label="Record servers">{servers.map((one) => (
        <Load key={textAt(one, 'target')} target={one} landed={p.news.landed} alone={!named} />))}</ul>
      <Choice label="Show only" options={kStates} value={wish.state} onValue={(state) => setWish({ ...wish, state })} />
      <Search wish={wish} onWish={setWish} />
      {long.problem && <p class="banner" role="alert">{long.problem}</p>}
      {long.list.total > 0 && <LongTable key={JSON.stringify(wish)} label="Messages, the latest first" class="traffic" columns={kColumns} list={long.list} added={long.added}
        onSight={long.sight} cells={(one, tab) => cellsOf(one, named, tab)} />}
      {long.on && <button type="button" class="chip" onClick={long.on}>Look further back</button>}
      {long.list.total === 0 && long.list.complete && !long.loading && !long.problem && <p class="none">
        {wish.state === 'held' ? 'Nothing is held.' : 'No message fits.'}</p>}
      {long.list.total >= kMostJournalled && wish.value !== '' && <p class="none">No more than these are listed; narrow the search by time.</p>}
    </section>
  );
}
