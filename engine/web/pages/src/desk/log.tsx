// The message log as an auditor reads it. It is read when the reader asks, not by itself: each reading is a record too.

import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import { Dialog, Select } from '../controls';
import { type JsonObject, isObject, listAt, numberAt, objectAt, print, textAt, textsAt } from '../json';
import { isHalf, kHalf, told } from './asking';
import { type Column, LongTable } from './long_table';
import { type Verdict, judgeProof } from './proof';
import { clock, kKinds, kindWords } from './stand';
import { useLong } from './use_long';

const kMost = 20_000; // rows; each page that is read is a record of its own
const kLong = 600_000; // milliseconds; a long journal takes its time

interface Wish {
  kind: string; session: string; patientSystem: string; patientValue: string; therapistSystem: string; therapistValue: string;
  since: string; until: string;
}
const kNothing: Wish = {
  kind: '', session: '', patientSystem: '', patientValue: '', therapistSystem: '', therapistValue: '', since: '', until: '' };

function instant(local: string): string {
  const at = new Date(local);
  return Number.isNaN(at.getTime()) ? '' : at.toISOString();
}

function bodyOf(wish: Wish, before: string): string {
  const members: Record<string, unknown> = {};
  if (wish.kind) members['kind'] = wish.kind;
  if (wish.session) members['session'] = wish.session.toLowerCase();
  if (wish.patientValue) members['patient'] = { system: wish.patientSystem, value: wish.patientValue };
  if (wish.therapistValue) members['therapist'] = { system: wish.therapistSystem, value: wish.therapistValue };
  if (wish.since) members['since'] = instant(wish.since);
  if (wish.until) members['until'] = instant(wish.until);
  if (before) members['before'] = Number(before);
  return JSON.stringify(members);
}

function Whole(p: { wish: Wish }): JSX.Element {
  const [said, say] = useState<{ good: boolean; lines: string[] }>();
  const [busy, setBusy] = useState('');
  const run = async (what: 'verify' | 'replay'): Promise<void> => {
    setBusy(what);
    const answer = await told('POST', `/log/${what}`, what === 'replay'
      ? JSON.stringify({ ...(p.wish.since && { since: instant(p.wish.since) }), ...(p.wish.until && { until: instant(p.wish.until) }) }) : '{}', kLong);
    setBusy('');
    if (answer.problem) {
      say({ good: false, lines: [answer.problem] });
      return;
    }
    const value = answer.value;
    const number = (name: string): string => numberAt(value, name);
    if (what === 'verify') {
      const sound = isObject(value) && value['sound'] === true;
      const good = sound && isObject(value) && value['proved'] === true;
      say({ good, lines: [`${!sound ? 'Not sound' : good ? 'Sound' : 'Not proved'}: ${number('records')} records, ${number('parts')} parts, ${number('headsAgree')} of ${number('heads')} signed heads agree and cover ${number('covered')} records.`,
        `Root ${textAt(value, 'root')}`, ...textsAt(value, 'faults'), ...textsAt(value, 'remarks')] });
    } else {
      const faults = listAt(value, 'faults');
      const others = objectAt(value, 'otherSets') ?? {};
      say({ good: faults.length === 0, lines: [
        `${number('translations')} translations made again, ${number('same')} the same byte for byte.`,
        ...(!['', '0'].includes(number('destroyed')) ? [`${number('destroyed')} cannot be made again: their documents were destroyed on purpose.`] : []),
        ...Object.keys(others).map((name) => `${numberAt(others, name)} were made with another ${name} that is not kept beside this journal: not judged.`),
        ...faults.map((one) => `Record ${numberAt(one, 'position')}, session ${textAt(one, 'session').slice(0, 8)}: ${textAt(one, 'what')}`)] });
    }
  };
  return (
    <section class="sheet" aria-label="Proof of the whole"><header><h2>The whole</h2></header>
      <div class="row">
        <button type="button" class="chip" disabled={busy !== ''} onClick={() => void run('verify')}>{busy === 'verify' ? 'Reading every record …' : 'Verify the journal'}</button>
        <button type="button" class="chip" disabled={busy !== ''} onClick={() => void run('replay')}>{busy === 'replay' ? 'Making bundles again …' : 'Make the bundles again and compare'}</button>
      </div>
      <div role="status">{said && <div class={`judged ${said.good ? 'note' : 'refuse'}`}>{said.lines.map((line, i) => <p key={i}>{line}</p>)}</div>}</div>
      <p class="none">The second looks at the times chosen above, or at everything. A page can be made to lie: an auditor also runs{' '}
        <code>chartferry journal verify</code> with a key and a tree head kept elsewhere.</p>
    </section>
  );
}

function Proof(p: { position: string; onClose: () => void }): JSX.Element {
  const [verdict, setVerdict] = useState<Verdict>();
  const [problem, setProblem] = useState('');
  const [asked, ask] = useState(false);
  if (!asked) {
    ask(true);
    void told('POST', '/log/proof', JSON.stringify({ position: Number(p.position) }), kLong).then(async (answer) => {
      setProblem(answer.problem);
      if (!answer.problem) setVerdict(await judgeProof(answer.value));
    });
  }
  return (
    <Dialog title={`Record ${p.position}`} onClose={p.onClose}>
      <div role="status">
        {!verdict && !problem && <p class="none">Proving …</p>}
        {problem && <p class="judged refuse">{problem}</p>}
        {verdict && <>
          <p class={`judged ${verdict.good ? 'note' : 'refuse'}`}>{verdict.text}</p>
          <p class="none">Tree of {verdict.size} records, signed {clock(verdict.time)} with the key {verdict.key.slice(0, 16)}…</p>
          <pre>{verdict.record}</pre></>}
      </div>
    </Dialog>
  );
}

function save(list: JsonObject[]): void {
  const address = URL.createObjectURL(new Blob(list.map((one) => `${print(one)}\n`), { type: 'application/x-ndjson' }));
  const link = document.createElement('a');
  link.href = address;
  link.download = 'log.ndjson';
  link.click();
  URL.revokeObjectURL(address);
}

const kColumns: Column[] = [{ title: 'Record', class: 'record' }, { title: 'Time', class: 'time' }, { title: 'Kind', class: 'kind' },
  { title: 'Of', class: 'of' }, { title: 'What was said', class: 'said' }];

function cellsOf(one: JsonObject, onProve: (position: string) => void, tab: number): JSX.Element[] {
  const position = numberAt(one, 'position');
  const session = textAt(one, 'session');
  const said = [textAt(one, 'reasonText'), numberAt(one, 'status') && `HTTP ${numberAt(one, 'status')}`].filter((text) => text !== '').join(', ');
  return [
    <button type="button" class="plain" tabIndex={tab} aria-label={`Prove record ${position}`} onClick={() => onProve(position)}>{position}</button>,
    <time dateTime={textAt(one, 'time')}>{clock(textAt(one, 'time'))}</time>,
    <>{kindWords(textAt(one, 'kind'))}</>,
    <>{session && <a href={`#message/${session}/${numberAt(one, 'revision') || '1'}`} tabIndex={tab}><span class="id">{session.slice(0, 8)}</span></a>}
      {numberAt(one, 'revision') && ` revision ${numberAt(one, 'revision')}`}{textAt(one, 'target') && ` ${textAt(one, 'target')}`}</>,
    <>{said}{textAt(one, 'actor') && <> <bdi>{textAt(one, 'actor')}</bdi></>}{textAt(one, 'why') && <>: <bdi>{textAt(one, 'why')}</bdi></>}</>,
  ];
}

function Records(p: { wish: Wish; onProve: (position: string) => void }): JSX.Element {
  const long = useLong({ path: '/log', member: 'records', key: '', bodyOf: (before) => bodyOf(p.wish, before), news: 0, most: kMost, lean: false });
  return (
    <>
      {long.problem && <p class="banner" role="alert">{long.problem}</p>}
      {long.list.total > 0 && <LongTable label="Records, the latest first" class="log" columns={kColumns} list={long.list} added={0} onSight={long.sight}
        cells={(one, tab) => cellsOf(one, p.onProve, tab)} />}
      {long.on && <button type="button" class="chip" onClick={long.on}>Look further back</button>}
      {long.list.total === 0 && long.list.complete && !long.loading && !long.problem && <p class="none">No record fits.</p>}
      {long.list.total >= kMost && !long.list.complete && <p class="none">No more than these are listed; narrow the search by time.</p>}
      {long.list.total > 0 && <div class="row"><button type="button" class="chip" onClick={() => save(long.list.rows())}>Save what is listed</button></div>}
    </>
  );
}

export function Log(): JSX.Element {
  const [wish, setWish] = useState<Wish>(kNothing);
  const [asked, ask] = useState<{ wish: Wish; count: number }>();
  const [proved, prove] = useState('');
  const half = isHalf(wish.patientSystem, wish.patientValue) || isHalf(wish.therapistSystem, wish.therapistValue);
  const field = (name: keyof Wish, label: string, kind = 'text'): JSX.Element => (
    <label class="searched">{label}
      <input type={kind} value={wish[name]} autocomplete="off" spellcheck={false} maxLength={300}
        onInput={(event) => setWish({ ...wish, [name]: event.currentTarget.value.trim() })} /></label>);
  return (
    <section class="room" aria-label="Log">
      <h1>Log</h1>
      <p class="none">Every record, the latest first. That you read it is a record too, once for each page that comes into sight.</p>
      <form class="log-form" onSubmit={(event) => {
        event.preventDefault();
        if (!half) ask({ wish, count: (asked?.count ?? 0) + 1 });
      }}>
        <Select label="Kind" options={kKinds} value={wish.kind} onValue={(kind) => setWish({ ...wish, kind })} empty="every kind" />
        {field('session', 'Session')}
        {field('patientSystem', 'Patient identifier: system')}
        {field('patientValue', 'Patient identifier: value')}
        {field('therapistSystem', 'Therapist identifier: system')}
        {field('therapistValue', 'Therapist identifier: value')}
        {field('since', 'From', 'datetime-local')}
        {field('until', 'Before', 'datetime-local')}
        {half && <p class="judged refuse" role="alert">{kHalf}</p>}
        <button type="submit" class="send">Read</button>
      </form>
      {asked && <Records key={asked.count} wish={asked.wish} onProve={prove} />}
      <Whole wish={wish} />
      {proved && <Proof key={proved} position={proved} onClose={() => prove('')} />}
    </section>
  );
}
