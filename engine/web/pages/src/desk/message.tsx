// One message whole: what came in, what was made of it by which rule, what the record server said, and what a person
// may do about it. The engine journals that it was looked at. Whose role may not read it sees where it stands, and does
// about it what the role may.

import type { JSX } from 'preact';
import { useContext, useEffect, useMemo, useRef, useState } from 'preact/hooks';
import { type Json, type JsonObject, isObject, listAt, numberAt, numbersAt, objectAt, parse, textAt, textsAt } from '../json';
import { isTakenBack } from '../session';
import { SignedInAs, may } from '../sign_in';
import { kCaution } from '../words';
import { useTold } from './asking';
import type { News } from './follow';
import { Issues } from './issues';
import { Lineage, summaryOf } from './lineage';
import { Stand, clock, kindWords } from './stand';
import { Tree } from './tree';
import { type Act, WhoDialog } from './who';

const kDeeds: [string, string, string, string][] = [
  ['release', 'Release', 'Send it after all, as it was made.', 'Release'],
  ['remap', 'Translate again', 'Make the bundle again with the maps in force, after a map or a code was mended.', 'Translate again'],
  ['withdraw', 'Give up', 'It is never sent. What the therapist recorded stays in the journal.', 'Give up'],
];

// What takes a moved session back and was given up can be brought back, since nothing else would put that chart right.
const kBringBack: [string, string, string, string] =
  ['remap', 'Take back after all', 'The session was moved away, and what takes it back here was given up. It is made again and sent.', 'Take back after all'];

function named(session: string): string {
  return `Session ${session.slice(0, 8)}`;
}

// The server's answer: an OperationOutcome is told in words, anything else as it came.
function ServerAnswer(p: { text: string }): JSX.Element {
  let outcome: Json | undefined;
  try {
    outcome = parse(p.text);
  } catch {
    // a proxy's page, or cut off
  }
  return (
    <section><h3>What the record server answered</h3>
      {isObject(outcome) && textAt(outcome, 'resourceType') === 'OperationOutcome' ? <Issues outcome={outcome} />
        : <pre>{p.text}</pre>}</section>
  );
}

// What somebody else did there, when it stands with the leg and not in its outcome.
function Changed(p: { list: JsonObject[] }): JSX.Element | null {
  if (p.list.length === 0) return null;
  return (
    <section><h3>Changed by somebody else</h3>
      <ul class="issues">{p.list.map((one, i) => (
        <li key={i} class="judged confirm"><code>{textAt(one, 'resource')}</code>
          {textAt(one, 'expected') && `, landed as ${textAt(one, 'expected')}`}
          {one['gone'] === true ? ', deleted there' : textAt(one, 'found') && `, ${textAt(one, 'found')} is there`}</li>))}</ul></section>
  );
}

function Both(p: { document: JsonObject; leg: JsonObject }): JSX.Element {
  const bundle = objectAt(p.leg, 'bundle');
  const lineage = useMemo(() => new Lineage(objectAt(p.leg, 'lineage')), [p.leg]);
  const [input, setInput] = useState('');
  const [output, setOutput] = useState('');
  const [rule, setRule] = useState('');
  const origin = output === '' ? undefined : lineage.of(output);
  const outputs = useMemo(() => new Set(input !== '' ? lineage.from(input) : rule !== '' ? lineage.by(rule) : []), [lineage, input, rule]);
  const inputs = useMemo(() => new Set(origin?.inputs ?? []), [origin]);
  const shownRule = origin?.rule ?? rule;
  const rules = useMemo(() => [...new Set([...outputs].map((one) => lineage.of(one)?.rule ?? ''))], [outputs, lineage]);
  return (
    <section class="both" aria-label="What came in and what was made of it">
      <p class="rule" role="status">
        {origin && <>Made by <button type="button" class="plain" onClick={() => { setRule(origin.rule); setInput(''); setOutput(''); }}>
          {origin.rule}{origin.name && ` (${origin.name})`}</button>{origin.inputs.length > 0 ? ` from ${origin.inputs.join(', ')}` : ', from no input'}</>}
        {output !== '' && !origin && 'No rule is known for this element.'}
        {input !== '' && (outputs.size > 0 ? `${outputs.size} ${outputs.size === 1 ? 'element' : 'elements'} made from it, by ${rules.join(', ')}`
          : 'No rule made anything from this place.')}
        {input === '' && output === '' && rule !== '' && `${shownRule} made ${outputs.size} ${outputs.size === 1 ? 'element' : 'elements'}`}
        {input === '' && output === '' && rule === '' && (lineage.empty ? 'No lineage is kept for this message.'
          : 'Choose a line on either side: what it was made from, or what was made of it, lights up.')}
      </p>
      <div class="sides">
        <div><h3>Came in</h3>
          <Tree label="Session document" value={p.document} marks={inputs} chosen={input}
            onChoose={(place) => { setInput(place); setOutput(''); setRule(''); }}
            folded={(place) => place.split('/').length > 3} /></div>
        <div><h3>Was made</h3>
          {bundle ? <Tree label="Bundle" value={bundle} marks={outputs} chosen={output}
            onChoose={(place) => { setOutput(place); setInput(''); setRule(''); }}
            folded={(place) => place.split('/').length > 2}
            title={(place, value) => (/^\/entry\/\d+$/.test(place) ? summaryOf(isObject(value) ? value['resource'] : undefined) : '')} />
            : <p class="none">No bundle was made.</p>}</div>
      </div>
    </section>
  );
}

// What came of moving a session: the answer alone names the new one.
function Moved(p: { answer: Json }): JSX.Element {
  const entered = textAt(objectAt(p.answer, 'entered'), 'session');
  const left = numbersAt(p.answer, 'leftOut');
  const shown = useRef<HTMLParagraphElement>(null);
  // The button that led here stands at the end of a long page.
  useEffect(() => shown.current?.scrollIntoView({ block: 'center' }), []);
  return (
    <p class="banner" role="status" ref={shown}>Taken back here as revision {numberAt(objectAt(p.answer, 'takenBack'), 'revision')}, and entered anew
      as <a href={`#message/${entered}/1`}>session <span class="id">{entered.slice(0, 8)}</span></a>.
      {left.length > 0 && ` Not in it, since ${left.length === 1 ? 'it was' : 'they were'} given up: revision ${left.join(', ')}.`}</p>
  );
}

const kMoves: Record<string, string> = {
  'moved-away': 'This revision takes the session back: it was recorded on the wrong patient and was moved to another.',
  'moved-here': 'This session was recorded on the wrong patient first, and was moved here.',
};

// What waits for a server that is not configured any more can only be given up; a release would wait for ever.
const kWaits = ['accepted', 'checked', 'held'];

function deedsOf(state: string, gone: boolean, movedAway: boolean, nowhere: boolean): [string, string, string, string][] {
  if (nowhere) return kWaits.includes(state) ? kDeeds.filter(([deed]) => deed === 'withdraw') : [];
  if (state === 'held') return kDeeds.filter(([deed]) => !gone || deed === 'withdraw');
  return state === 'withdrawn' && movedAway && !gone ? [kBringBack] : [];
}

// `gone`: the document was destroyed; nothing can be made of it any more. `movedAway`: the revision takes a moved session back.
// `takesBack`: that, or its sender took all of it back. `nowhere`: the record server is not configured any more. `onAct`: of who may move it on.
function Leg(p: { session: string; revision: string; leg: JsonObject; document: JsonObject | undefined; gone: boolean; movedAway: boolean;
  takesBack: boolean; nowhere: boolean; onAct: ((act: Act) => void) | undefined }): JSX.Element {
  const target = textAt(p.leg, 'target');
  const held = textAt(p.leg, 'state') === 'held';
  const { onAct } = p;
  const deeds = onAct ? deedsOf(textAt(p.leg, 'state'), p.gone, p.movedAway, p.nowhere) : [];
  const landing = listAt(p.leg, 'landing');
  return (
    <section class="sheet" aria-label={`For ${target}`}>
      <header><h2>{target}</h2><Stand leg={p.leg} named={false} takesBack={p.takesBack} /></header>
      {deeds.length > 0 && <div class="row">{deeds.map(([deed, title, explain, button]) => (
        <button type="button" class="chip" key={deed} onClick={() => onAct?.({
          title, explain, button, of: `${named(p.session)}, revision ${p.revision}, for ${target}`, path: `/sessions/${p.session}/${deed}`, more: { revision: Number(p.revision), target } })}>{title}</button>))}</div>}
      {p.nowhere && <p class="judged confirm">This record server is not in the configuration.</p>}
      {textAt(p.leg, 'detail') && <p class="judged confirm">{textAt(p.leg, 'detail')}</p>}
      <Changed list={listAt(p.leg, 'conflict')} />
      <Issues outcome={objectAt(p.leg, 'outcome')} />
      {held && textAt(p.leg, 'answer') && <ServerAnswer text={textAt(p.leg, 'answer')} />}
      {landing.length > 0 && <details><summary>{landing.length} resources {p.takesBack ? 'taken back' : 'in the chart'}</summary>
        <ul class="landing">{landing.map((one, i) => <li key={i}><code>{textAt(one, 'location')}</code>{' '}
          <span class="none">{textAt(one, 'etag')}</span></li>)}</ul></details>}
      {p.document && <Both document={p.document} leg={p.leg} />}
    </section>
  );
}

export function Message(p: { session: string; revision: number; news: News }): JSX.Element {
  const me = useContext(SignedInAs);
  const reads = may(me, 'read-message');
  const steers = may(me, 'steer');
  const [act, setAct] = useState<Act>();
  const [done, setDone] = useState(0);
  const [moved, setMoved] = useState<Json>();
  // Of the session's states there is no journal entry, of the message there is: it is read once the states are known, and
  // again only when one changed.
  const session = useTold('GET', `/sessions/${encodeURIComponent(p.session)}`, undefined, p.news.count + done);
  const revisions = listAt(session.value, 'revisions');
  const latest = Number(numberAt(revisions.at(-1), 'revision') || '1');
  const revision = p.revision > 0 ? p.revision : latest;
  const here = revisions.find((one) => numberAt(one, 'revision') === String(revision));
  const states = listAt(here, 'targets').map((one) => `${textAt(one, 'target')} ${textAt(one, 'state')} ${numberAt(one, 'attempts')}`).join();
  const [seen, setSeen] = useState({ states: '', count: 0 });
  if (states !== '' && states !== seen.states) setSeen({ states, count: seen.count + 1 });
  const message = useTold('GET', reads && !session.loading ? `/sessions/${encodeURIComponent(p.session)}/revisions/${revision}` : '', undefined,
    seen.count);
  const servers = useTold('GET', steers ? '/targets' : '', undefined, p.news.count);
  const nowhere = (Array.isArray(servers.value) ? servers.value : [])
    .filter((one) => textAt(one, 'state') === 'not-configured').map((one) => textAt(one, 'target'));
  const document = objectAt(message.value, 'document');
  const movedAway = textAt(here, 'reason') === 'moved-away';
  const movable = reads ? document !== undefined && !isTakenBack(document) : here !== undefined && !movedAway;
  const takesBack = movedAway || (document !== undefined && isTakenBack(document));
  const left = textsAt(message.value, 'left');
  return (
    <section class="room message" aria-label="Message">
      <p><a href="#traffic">‹ Traffic</a></p>
      <h1>Session <span class="id">{p.session.slice(0, 8)}</span></h1>
      <p class="none">{p.session}, revision {revision} of {latest}{textAt(here, 'received') && `, taken in ${clock(textAt(here, 'received'))}`}</p>
      {revisions.length > 1 && <p class="revisions">{revisions.map((one) => {
        const number = numberAt(one, 'revision');
        return <a key={number} class="chip" href={`#message/${p.session}/${number}`}
          aria-current={number === String(revision) ? 'page' : undefined}>Revision {number}</a>;
      })}</p>}
      {moved !== undefined && <Moved answer={moved} />}
      {kMoves[textAt(here, 'reason')] && <p class="banner">{kMoves[textAt(here, 'reason')]}</p>}
      {(session.problem || message.problem) && <p class="banner" role="alert">{session.problem || message.problem}</p>}
      {!reads && session.value !== undefined && !here && <p class="banner" role="alert">There is no such revision.</p>}
      {!reads && <p class="banner">What came in and what was made of it is not shown to your role.</p>}
      {left.length > 0 && <p class="banner">Too large to be shown here: {left.join(', ')}. `chartferry journal show` prints it.</p>}
      {textAt(message.value, 'destroyed') && <p class="banner">What this message held is not here any more: {textAt(message.value, 'destroyed')}.</p>}
      {listAt(reads ? message.value : here, 'targets').map((leg) => (
        <Leg key={textAt(leg, 'target')} session={p.session} revision={String(revision)} leg={leg} document={document}
          gone={textAt(message.value, 'destroyed') !== ''} movedAway={movedAway} takesBack={takesBack} nowhere={nowhere.includes(textAt(leg, 'target'))} onAct={steers ? setAct : undefined} />))}
      <div class="row">{document && may(me, 'see-mapping') && <a class="chip" href={`#try-out/${p.session}/${revision}`}>Try changed maps on it</a>}
        {steers && movable && <button type="button" class="chip" onClick={() => setAct({
          title: 'Move to the right patient', of: named(p.session), path: `/sessions/${p.session}/move`, button: 'Move', system: textAt(objectAt(objectAt(document, 'patient'), 'identifier'), 'system'),
          stay: textAt(objectAt(objectAt(document, 'patient'), 'encounter'), 'system'),
          explain: 'All that the session made on this patient is marked as entered in error, and its entries go into a session of the right patient. The reason stands in both charts: name no patient in it.' })}>
          Move to the right patient</button>}</div>
      {message.value !== undefined && <section class="sheet"><h2>What happened</h2>
        <ol class="records">{listAt(message.value, 'records').map((one) => (
          <li key={numberAt(one, 'position')}><time>{clock(textAt(one, 'time'))}</time> <b>{kindWords(textAt(one, 'kind'))}</b>
            {textAt(one, 'target') && ` ${textAt(one, 'target')}`}{numberAt(one, 'status') && `, HTTP ${numberAt(one, 'status')}`}
            {textAt(one, 'reasonText') && `: ${textAt(one, 'reasonText')}`}
            {textAt(one, 'actor') && <> by <bdi>{textAt(one, 'actor')}</bdi></>}{textAt(one, 'why') && <>: <bdi>{textAt(one, 'why')}</bdi></>}
            <span class="none"> record {numberAt(one, 'position')}</span></li>))}</ol></section>}
      <p class="caution">{kCaution}</p>
      {act && <WhoDialog act={act} onClose={() => setAct(undefined)} onDone={(answer) => {
        if (objectAt(answer, 'entered')) setMoved(answer);
        setAct(undefined);
        setDone(done + 1);
      }} />}
    </section>
  );
}
