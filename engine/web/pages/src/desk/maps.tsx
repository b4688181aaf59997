// The set of maps and code tables in force, the one that waits with what its shadow found, the way back; then the same of
// each record server with sets of its own.

import type { JSX } from 'preact';
import { useContext, useState } from 'preact/hooks';
import { type JsonObject, isObject, listAt, numberAt, objectAt, textAt } from '../json';
import { SignedInAs, may } from '../sign_in';
import { useTold } from './asking';
import type { News } from './follow';
import { type Act, WhoDialog } from './who';

function Set(p: { title: string; target: string; set: JsonObject | undefined; children?: JSX.Element | false | undefined }): JSX.Element | null {
  if (!p.set) return null;
  return (
    <section class="sheet" aria-label={p.target ? `${p.target}: ${p.title}` : p.title}>
      <header>{p.target ? <h3>{p.title}</h3> : <h2>{p.title}</h2>}</header>
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

// `target`: whose they are; '' for the engine's own, which serve `whom`.
function Sets(p: { status: JsonObject | undefined; target: string; whom: string; onAct: (act: Act) => void }): JSX.Element {
  const me = useContext(SignedInAs);
  const changes = may(me, 'change-mapping');
  const waiting = objectAt(p.status, 'waiting');
  const previous = objectAt(p.status, 'previous');
  const problem = textAt(p.status, 'problem');
  const of = p.target ? ` for ${p.target}` : '';
  const more = p.target ? { target: p.target } : {};
  return (
    <>
      {problem && <div class="judged refuse" role="alert"><p>The changed files are not taken; the set in force stays so.</p><pre>{problem}</pre></div>}
      <Set title="Waits for approval" target={p.target} set={waiting}>
        {waiting && <><Shadow shadow={objectAt(waiting, 'shadow')} />
          {changes && <div class="row"><button type="button" class="chip" onClick={() => p.onAct({
            title: `Put the waiting set in force${of}`, path: '/mapping/approve', more: { ...more, set: textAt(waiting, 'set') }, button: 'Put in force',
            explain: `Every bundle${p.whom} is made with it from now on. One step leads back.` })}>Put in force</button></div>}</>}
      </Set>
      <Set title="In force" target={p.target} set={objectAt(p.status, 'inForce')}>
        {p.target === '' && may(me, 'read-message') && <div class="row"><a class="chip" href="#try-out">Try changed files</a></div>}</Set>
      <Set title="Before" target={p.target} set={previous}>
        {previous && changes && <div class="row"><button type="button" class="chip" onClick={() => p.onAct({
          title: `Go back to the set before${of}`, path: '/mapping/roll-back', more, button: 'Go back',
          explain: `Every bundle${p.whom} is made with the set before from now on. What has landed stays as it is.` })}>Go back to it</button></div>}
      </Set>
    </>
  );
}

export function Maps(p: { news: News }): JSX.Element {
  const [act, setAct] = useState<Act>();
  const [done, setDone] = useState(0);
  const answer = useTold('GET', '/mapping', undefined, p.news.count + done);
  const targets = listAt(answer.value, 'targets');
  return (
    <section class="room" aria-label="Maps">
      <h1>Maps</h1>
      {answer.problem && <p class="banner" role="alert">{answer.problem}</p>}
      <Sets status={isObject(answer.value) ? answer.value : undefined} target="" onAct={setAct}
        whom={targets.length > 0 ? ' for record servers without maps of their own' : ''} />
      {targets.map((one) => {
        const target = textAt(one, 'target');
        return (
          <section class="own" key={target} aria-label={`Maps of ${target}`}>
            <h2>Maps of {target}</h2>
            <Sets status={one} target={target} whom={` for ${target}`} onAct={setAct} />
          </section>
        );
      })}
      {act && <WhoDialog act={act} onClose={() => setAct(undefined)} onDone={() => { setAct(undefined); setDone(done + 1); }} />}
    </section>
  );
}
