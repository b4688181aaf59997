// Changed maps and code tables, tried on a recorded message, a pasted document or recorded traffic. What is edited stays
// in this page's memory; nothing is sent anywhere but to the engine, which keeps nothing of it.

import type { JSX } from 'preact';
import { useEffect, useMemo, useRef, useState } from 'preact/hooks';
import { Select } from '../controls';
import { ask } from '../engine';
import { type JsonObject, isObject, listAt, numberAt, parse, print, textAt } from '../json';
import { told, useTold } from './asking';
import { clock } from './stand';
import { Editor, NewFile, type Spot, download } from './try_out_edit';
import { Result } from './try_out_result';
import { fileOf } from './try_out_runs';
import { WhatIf, kPatience } from './try_out_traffic';

const kPasted = 'pasted';
const kAtFirst = 'entry-vitals.map';

// Outlive the room, not the page.
const texts = new Map<string, string>(); // as in force; of a new file none
const edits = new Map<string, string>();
let known = ''; // the set that the texts are of
let pasted = '';

// Another set is in force: what nobody edited is read again.
function renew(set: string): void {
  if (set === '' || set === known) return;
  known = set;
  for (const [name, text] of texts) {
    if (edits.get(name) !== text) continue;
    texts.delete(name);
    edits.delete(name);
  }
}

function changedFiles(): Record<string, string> {
  return Object.fromEntries([...edits].filter(([name, text]) => texts.get(name) !== text));
}

function problemRows(result: JsonObject | undefined): { file: string; line: number; column: number; text: string }[] {
  return listAt(result, 'problems').map((one) => ({
    file: textAt(one, 'file'), line: Number(numberAt(one, 'line')), column: Number(numberAt(one, 'column')), text: textAt(one, 'text') }));
}

// A pasted document as the engine takes it; the digits of its numbers stay.
function bodyOf(input: string, session: string): string | undefined {
  const files = JSON.stringify(changedFiles());
  if (input !== kPasted) {
    const [id, revision] = (input || session).split('/');
    return JSON.stringify({ session: id, ...(revision && { revision: Number(revision) }) }).replace(/^\{/, `{"files":${files},`);
  }
  try {
    const document = parse(pasted);
    return isObject(document) ? `{"files":${files},"document":${print(document)}}` : undefined;
  } catch {
    return undefined;
  }
}

function Input(p: { input: string; onInput: (input: string) => void; asked: string }): JSX.Element {
  const [typed, type] = useState(pasted);
  const traffic = useTold('POST', '/traffic', '{}', 0);
  const options: [string, string][] = listAt(traffic.value, 'messages').map((one) => [
    `${textAt(one, 'session')}/${numberAt(one, 'revision')}`,
    `${clock(textAt(one, 'received'))}, ${textAt(one, 'session').slice(0, 8)}, revision ${numberAt(one, 'revision')}`]);
  if (p.asked !== '' && !options.some(([one]) => one === p.asked)) {
    options.unshift([p.asked, `${p.asked.slice(0, 8)}, revision ${p.asked.split('/')[1] ?? 'latest'}`]);
  }
  options.push([kPasted, 'A document that I paste']);
  return (
    <>
      <Select label="Try it on" options={options} value={p.input} onValue={p.onInput} empty="choose a message" />
      {p.input !== kPasted && <p class="none">That a recorded message is read is written into the log.</p>}
      {p.input === kPasted && <label class="searched">Session document
        <textarea class="pasted" rows={8} value={typed} spellcheck={false} placeholder='{"resourceType": ...}' onInput={(event) => {
          pasted = event.currentTarget.value;
          type(pasted);
        }} /></label>}
    </>
  );
}

function Problems(p: { rows: ReturnType<typeof problemRows>; onSpot: (file: string, line: number, column: number) => void }): JSX.Element {
  return (
    <section class="sheet" aria-label="What does not compile">
      <header><h2>It does not compile</h2></header>
      <p role="alert">{p.rows.length === 1 ? 'One place is' : `${p.rows.length} places are`} wrong. Choose it and the cursor stands there.</p>
      <ul class="issues">{p.rows.map((one, i) => (
        <li key={i} class="judged refuse">{one.line > 0
          ? <button type="button" class="plain" onClick={() => p.onSpot(one.file, one.line, one.column)}><code>{one.file}:{one.line}:{one.column}</code></button>
          : <code>{one.file}</code>} {one.text}</li>))}</ul>
    </section>
  );
}

export function TryOut(p: { session: string; revision: string }): JSX.Element {
  const asked = p.session === '' ? '' : `${p.session}${p.revision && `/${p.revision}`}`;
  const list = useTold('GET', '/mapping/files', undefined, 0);
  renew(textAt(list.value, 'set'));
  const inForce = useMemo(() => listAt(list.value, 'files').map((one) => textAt(one, 'name')), [list.value]);
  const [file, setFile] = useState('');
  const [edition, setEdition] = useState(0); // rises with each edit
  const names = useMemo(() => [...inForce, ...[...edits.keys()].filter((one) => !inForce.includes(one))].sort(), [inForce, edition]);
  const [loading, setLoading] = useState('');
  const [spot, setSpot] = useState<Spot>();
  const [input, setInput] = useState(asked);
  const [result, setResult] = useState<{ value: JsonObject; key: string }>();
  const [busy, setBusy] = useState(false);
  const [problem, say] = useState('');
  const results = useRef<HTMLDivElement>(null);
  useEffect(() => { if (asked !== '') setInput(asked); }, [asked]);
  useEffect(() => { if (file === '' && names.length > 0) setFile(names.includes(kAtFirst) ? kAtFirst : names[0] ?? ''); }, [names, file]);
  useEffect(() => {
    if (file === '' || edits.has(file)) return undefined;
    let current = true;
    setLoading(file);
    ask('GET', `/mapping/files/${encodeURIComponent(file)}`).then((answer) => {
      if (answer.status === 200) {
        texts.set(file, answer.body);
        edits.set(file, answer.body);
      } else if (current) {
        say(`${file}: HTTP ${answer.status}`);
      }
    }, () => { if (current) say('The engine does not answer.'); }).finally(() => { if (current) setLoading(''); });
    return () => { current = false; };
  }, [file]);
  const changed = Object.keys(changedFiles());
  const isNew = file !== '' && inForce.length > 0 && !inForce.includes(file);
  const words = (one: string): string => (!inForce.includes(one) ? `${one} (new)` : changed.includes(one) ? `${one} (changed)` : one);
  const back = (): void => {
    if (isNew) {
      edits.delete(file);
      setFile(inForce[0] ?? '');
    } else {
      edits.set(file, texts.get(file) ?? '');
    }
    setEdition(edition + 1);
  };
  const add = (name: string): void => {
    edits.set(name, '');
    setEdition(edition + 1);
    setSpot({ file: name, line: 1, column: 1 });
    setFile(name);
  };
  useEffect(() => {
    if (changed.length === 0) return undefined;
    const stay = (event: BeforeUnloadEvent): void => event.preventDefault();
    addEventListener('beforeunload', stay);
    return () => removeEventListener('beforeunload', stay);
  }, [changed.length]);

  // The editor goes there when it has the text; a new object is a new jump.
  const jump = (to: string, line: number, column: number): void => {
    if (names.includes(to)) setFile(to);
    setSpot({ file: to, line, column });
  };
  const toRule = (place: string): void => {
    const [line = '0', column = '1'] = place.slice(fileOf(place).length + 1).split(':');
    jump(fileOf(place), Number(line), Number(column));
  };
  const go = async (): Promise<void> => {
    const body = bodyOf(input, asked);
    if (input === '' || body === undefined) {
      say(input === '' ? 'Choose what to try it on.' : 'The pasted text is no JSON object.');
      return;
    }
    setBusy(true);
    const answer = await told('POST', '/try-out', body, kPatience);
    setBusy(false);
    say(answer.problem);
    if (!answer.value) return;
    setResult({ value: answer.value as JsonObject, key: String(Date.now()) });
    setTimeout(() => results.current?.scrollIntoView({ block: 'nearest' }), 50);
  };
  const rows = problemRows(result?.value);
  const marked = new Set(rows.filter((one) => one.file === file).map((one) => one.line));
  const text = edits.get(file) ?? '';
  return (
    <section class="room try-out" aria-label="Try out">
      <h1>Try out</h1>
      <p class="none">Edit a copy of a map or code table and see what it would make. Nothing of it is sent, kept or put in force.</p>
      {list.problem && <p class="banner" role="alert">{list.problem}</p>}
      <div class="log-form">
        <Select label="File" value={file} onValue={(one) => { if (one) { setSpot(undefined); setFile(one); } }} empty="choose a file"
          options={names.map((one) => [one, words(one)] as [string, string])} />
        <div class="row">
          <button type="button" class="chip" disabled={!changed.includes(file)} onClick={back}>{isNew ? 'Leave it out' : 'As in force'}</button>
          <button type="button" class="chip" disabled={!edits.has(file)} onClick={() => download(file, text)}>Download</button>
        </div>
      </div>
      <NewFile taken={names} onAdd={add} />
      {edits.has(file)
        ? <Editor key={file} label={`Text of ${file}`} text={text} marked={marked} spot={spot?.file === file ? spot : undefined} onTry={() => void go()}
          onText={(typed) => { edits.set(file, typed); setEdition(edition + 1); }} />
        : <p class="none">{loading !== '' ? 'Opening …' : ''}</p>}
      <p class="none" role="status">{changed.length === 0 ? 'Nothing is changed.' : `Changed: ${changed.join(', ')}`}</p>
      <Input input={input} onInput={setInput} asked={asked} />
      <div class="row">
        <button type="button" class="send" disabled={busy} onClick={() => void go()}>{busy ? 'Trying …' : 'Try'}</button>
        <span class="none">or Ctrl+Enter in the text</span>
      </div>
      {problem && <p class="banner" role="alert">{problem}</p>}
      <div ref={results}>
        {rows.length > 0 && <Problems rows={rows} onSpot={jump} />}
        {result && rows.length === 0 && <Result key={result.key} result={result.value} onRule={toRule} />}
      </div>
      <WhatIf files={changedFiles} edition={String(edition)} onProblems={(value) => setResult({ value, key: String(Date.now()) })} />
      <section class="sheet" aria-label="The way into force">
        <header><h2>The way into force</h2></header>
        <p>Download the changed file and lay it, under the same name, into the folder that the engine's configuration names as <code>mappings</code>.
          The engine looks at the folder every two seconds: it takes files that compile and pass their samples, or lets them wait for a person
          where approval is needed. <a href="#maps">Maps</a> shows which set is in force, puts the waiting one in force and goes back.</p>
      </section>
    </section>
  );
}
