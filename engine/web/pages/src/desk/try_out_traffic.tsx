// Recorded traffic through the changed files: what would come out otherwise, by kind.

import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import { type JsonObject, listAt, numberAt, textAt } from '../json';
import { told } from './asking';

// Compiling takes a while on a busy machine, and others may be at it.
export const kPatience = 60_000; // milliseconds

interface Kind { kind: string; count: number; translations: number; examples: JsonObject[] }
interface Found { looked: number; same: number; apart: number; kinds: Kind[]; other: number; next: string; values: boolean }

function count(value: JsonObject, name: string): number {
  return Number(numberAt(value, name) || '0');
}

function foundOf(value: JsonObject, values: boolean): Found {
  return {
    looked: count(value, 'looked'), same: count(value, 'same'), apart: count(value, 'otherSets'), other: count(value, 'otherKinds'), next: numberAt(value, 'next'), values,
    kinds: listAt(value, 'kinds').map((one) => ({
      kind: textAt(one, 'kind'), count: count(one, 'count'), translations: count(one, 'translations'), examples: listAt(one, 'examples') })) };
}

// What was found further back, put to what was found before.
export function together(a: Found, b: Found): Found {
  const kinds = a.kinds.map((one) => ({ ...one }));
  for (const more of b.kinds) {
    const known = kinds.find((one) => one.kind === more.kind);
    if (known) {
      known.count += more.count;
      known.translations += more.translations;
    } else {
      kinds.push(more);
    }
  }
  return { looked: a.looked + b.looked, same: a.same + b.same, apart: a.apart + b.apart, other: a.other + b.other, next: b.next, values: a.values && b.values, kinds };
}

function Example(p: { one: JsonObject; values: boolean }): JSX.Element {
  const session = textAt(p.one, 'session');
  const revision = numberAt(p.one, 'revision');
  return (
    <li><a href={`#message/${session}/${revision}`}><span class="id">{session.slice(0, 8)}</span> revision {revision}</a>{' '}
      {textAt(p.one, 'element') && <code>{textAt(p.one, 'element')}</code>}
      {p.values && <><br /><bdi>{textAt(p.one, 'before') || 'nothing'}</bdi> became <bdi>{textAt(p.one, 'after') || 'nothing'}</bdi></>}
      {' '}<a href={`#try-out/${session}/${revision}`}>Try on it</a></li>
  );
}

export function WhatIf(p: { files: () => Record<string, string>; edition: string; onProblems: (result: JsonObject) => void }): JSX.Element {
  const [since, setSince] = useState('');
  const [until, setUntil] = useState('');
  const [kept, keep] = useState<{ of: string; found: Found }>();
  const [busy, setBusy] = useState(false);
  const [problem, say] = useState('');
  const key = `${p.edition} ${since} ${until}`;
  const found = kept?.of === key ? kept.found : undefined;
  const instant = (local: string): string => (Number.isNaN(Date.parse(local)) ? '' : new Date(local).toISOString());
  const go = async (values: boolean, before: string): Promise<void> => {
    setBusy(true);
    const answer = await told('POST', '/try-out/traffic', JSON.stringify({
      files: p.files(), values, ...(since && { since: instant(since) }), ...(until && { until: instant(until) }), ...(before && { before: Number(before) }) }), kPatience);
    setBusy(false);
    say(answer.problem);
    const value = answer.value as JsonObject | undefined;
    if (!value) return;
    if (value['compiled'] !== true) {
      keep(undefined);
      p.onProblems(value);
      return;
    }
    const now = foundOf(value, values);
    keep({ of: key, found: before && found ? together(found, now) : now });
  };
  return (
    <section class="sheet" aria-label="On recorded traffic">
      <header><h2>On recorded traffic</h2></header>
      <p class="none">The latest messages are made again with your files and compared with the set in force. Nothing is sent; that you looked is written into the log.</p>
      <div class="log-form">
        <label class="searched">From<input type="datetime-local" value={since} onInput={(event) => setSince(event.currentTarget.value)} /></label>
        <label class="searched">To<input type="datetime-local" value={until} onInput={(event) => setUntil(event.currentTarget.value)} /></label>
        <button type="button" class="send" disabled={busy} onClick={() => void go(false, '')}>{busy ? 'Looking …' : 'Try on traffic'}</button>
      </div>
      {problem && <p class="banner" role="alert">{problem}</p>}
      {found && <>
        <p role="status">{found.looked} {found.looked === 1 ? 'message was' : 'messages were'} looked at, {found.same} of them {found.same === 1 ? 'comes' : 'come'} out the same.
          {found.next ? ' There are earlier ones.' : ' There are no earlier ones.'}</p>
        {found.apart > 0 && <p class="none">{found.apart} for record servers with maps of their own {found.apart === 1 ? 'was' : 'were'} left out.</p>}
        {found.kinds.length > 0 && <table class="list"><caption class="quiet">Differences by kind</caption>
          <thead><tr><th scope="col">Difference</th><th scope="col">Count</th><th scope="col">In messages</th><th scope="col">For example</th></tr></thead>
          <tbody>{found.kinds.map((one) => <tr key={one.kind}><td>{one.kind}</td><td>{one.count}<span class="in-row"> times</span></td><td><span class="in-row">in </span>{one.translations}<span class="in-row"> messages</span></td>
            <td><ul class="examples">{one.examples.map((example, i) => <Example key={i} one={example} values={found.values} />)}</ul></td></tr>)}</tbody></table>}
        {found.other > 0 && <p class="none">{found.other} differences of further kinds.</p>}
        <div class="row">
          {found.kinds.length > 0 && !found.values && <button type="button" class="chip" disabled={busy}
            onClick={() => void go(true, '')}>Show the values</button>}
          {found.next && <button type="button" class="chip" disabled={busy} onClick={() => void go(found.values, found.next)}>Look further back</button>}
        </div></>}
    </section>
  );
}
