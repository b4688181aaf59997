// The set of maps and code tables in force, the one that waits with what its shadow found, the way back.

import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import { type JsonObject, listAt, numberAt, objectAt, textAt } from '../json';
import { useTold } from './asking';
import type { News } from './follow';
import { type Act, WhoDialog } from './who';

function Set(p: { title: string; set: JsonObject | undefined; children?: JSX.Element | false | undefined }): JSX.Element | null {
  if (!p.set) return null;
  return (
    <section class="sheet" aria-label={p.title}>
      <header><h2>{p.title}</h2></header>
      <dl class="facts">
        <div><dt>Set</dt><dd class="id">{textAt(p.set, 'set').slice(0, 16)}</dd></div>
        {([['mapping', 'Maps and code tables'], ['profiles', 'Profiles'], ['settings', 'Settings']] as const).map(([part, words]) => <div key={part}><dt>{words}</dt>
          <dd class="id">{textAt(p.set, part).slice(0, 12)}</dd></div>)}
        {textAt(p.set, 'actor') && <div><dt>Put in force by</dt><dd><bdi>{textAt(p.set, 'actor')}</bdi>: <bdi>{textAt(p.set, 'why')}</bdi></dd></div>}
      </dl>
      {p.children}
    </section>
  );
}

function Shadow(p: { shadow: JsonObject | undefined }): JSX.Element {
  const count = numberAt(p.shadow, 'translations') || '0';
  const rows = listAt(p.shadow, 'differences');
  return (
    <>
      <p>Beside the set in force it made {count} {count === '1' ? 'bundle' : 'bundles'}, {numberAt(p.shadow, 'same') || '0'} of them the same. Nothing of it was sent.</p>
      {rows.length > 0 && <table class="list"><caption class="quiet">Differences by kind</caption>
        <thead><tr><th scope="col">Difference</th><th scope="col">Count</th></tr></thead>
        <tbody>{rows.map((one) => <tr key={textAt(one, 'kind')}><td>{textAt(one, 'kind')}</td><td>{numberAt(one, 'count')}</td></tr>)}</tbody></table>}
    </>
  );
}

export function Maps(p: { news: News }): JSX.Element {
  const [act, setAct] = useState<Act>();
  const [done, setDone] = useState(0);
  const answer = useTold('GET', '/mapping', undefined, p.news.count + done);
  const waiting = objectAt(answer.value, 'waiting');
  const previous = objectAt(answer.value, 'previous');
  const problem = textAt(answer.value, 'problem');
  return (
    <section class="room" aria-label="Maps">
      <h1>Maps</h1>
      {answer.problem && <p class="banner" role="alert">{answer.problem}</p>}
      {problem && <div class="judged refuse" role="alert"><p>The changed files are not taken; the set in force stays so.</p><pre>{problem}</pre></div>}
      <Set title="Waits for approval" set={waiting}>
        {waiting && <><Shadow shadow={objectAt(waiting, 'shadow')} />
          <div class="row"><button type="button" class="chip" onClick={() => setAct({
            title: 'Put the waiting set in force', path: '/mapping/approve', more: { set: textAt(waiting, 'set') }, button: 'Put in force',
            explain: 'Every bundle is made with it from now on. One step leads back.' })}>Put in force</button></div></>}
      </Set>
      <Set title="In force" set={objectAt(answer.value, 'inForce')}>
        <div class="row"><a class="chip" href="#try-out">Try changed files</a></div></Set>
      <Set title="Before" set={previous}>
        {previous && <div class="row"><button type="button" class="chip" onClick={() => setAct({
          title: 'Go back to the set before', path: '/mapping/roll-back', button: 'Go back',
          explain: 'Every bundle is made with the set before from now on. What has landed stays as it is.' })}>Go back to it</button></div>}
      </Set>
      {act && <WhoDialog act={act} onClose={() => setAct(undefined)} onDone={() => { setAct(undefined); setDone(done + 1); }} />}
    </section>
  );
}
