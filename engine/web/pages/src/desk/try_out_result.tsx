// What came of trying a document: the verdict of both sets, what differs, the issues, the bundle with its rules.

import type { JSX } from 'preact';
import { useEffect, useMemo, useState } from 'preact/hooks';
import { type JsonObject, isObject, listAt, objectAt, textAt } from '../json';
import { Issues } from './issues';
import { Lineage, summaryOf } from './lineage';
import { Tree } from './tree';
import { Runs } from './try_out_runs';

export function textsAt(value: JsonObject | undefined, name: string): string[] {
  const list = value?.[name];
  return Array.isArray(list) ? list.filter((one): one is string => typeof one === 'string') : [];
}

function verdictWords(verdict: string, reason: string): string {
  return verdict === 'ready' ? 'ready to be sent' : verdict === 'held' ? `held (${reason})` : 'refused';
}

function Differences(p: { rows: JsonObject[]; onElement: (at: string) => void }): JSX.Element {
  return (
    <table class="list"><caption class="quiet">What differs from the set in force</caption>
      <thead><tr><th scope="col">Difference</th><th scope="col">Where</th><th scope="col">Set in force</th><th scope="col">Your files</th></tr></thead>
      <tbody>{p.rows.map((one, i) => {
        const element = textAt(one, 'element');
        const gone = textAt(one, 'kind').endsWith(' removed');
        return <tr key={i}><td>{textAt(one, 'kind')}</td>
          <td>{element && !gone ? <button type="button" class="plain" onClick={() => p.onElement(element)}><code>{element}</code></button>
            : element && <code>{element}</code>}</td>
          <td><span class="in-row">Set in force: </span><bdi>{textAt(one, 'before')}</bdi></td>
          <td><span class="in-row">Your files: </span><bdi>{textAt(one, 'after')}</bdi></td></tr>;
      })}</tbody></table>
  );
}

function Made(p: { result: JsonObject; chosen: string; onChoose: (at: string) => void; onRule: (place: string) => void }): JSX.Element {
  const bundle = objectAt(p.result, 'bundle');
  const lineage = useMemo(() => new Lineage(objectAt(p.result, 'lineage')), [p.result]);
  const changed = useMemo(() => new Set(listAt(p.result, 'differences').filter((one) => !textAt(one, 'kind').endsWith(' removed'))
    .map((one) => textAt(one, 'element')).filter((one) => one !== '')), [p.result]);
  const marks = useMemo(() => (p.chosen === '' || changed.has(p.chosen) ? changed : new Set([...changed, p.chosen])), [changed, p.chosen]);
  const origin = p.chosen === '' ? undefined : lineage.of(p.chosen);
  return (
    <section class="sheet" aria-label="The bundle">
      <header><h2>The bundle</h2></header>
      <p class="rule" role="status">
        {origin ? <>Made by <button type="button" class="plain" onClick={() => p.onRule(origin.rule)}>{origin.rule}{origin.name && ` (${origin.name})`}</button>
          {origin.inputs.length > 0 ? ` from ${origin.inputs.join(', ')}` : ', from no input'}</>
          : p.chosen !== '' ? 'No rule is known for this element.'
            : changed.size > 0 ? `${changed.size} ${changed.size === 1 ? 'line that differs is' : 'lines that differ are'} marked. Choose a line: the rule that made it is named.`
              : 'Choose a line: the rule that made it is named.'}
      </p>
      {bundle ? <Tree label="Bundle" value={bundle} marks={marks} chosen={p.chosen} onChoose={p.onChoose} litWords="(differs from the set in force, or was chosen)"
        folded={(place) => place.split('/').length > 2}
        title={(place, value) => (/^\/entry\/\d+$/.test(place) ? summaryOf(isObject(value) ? value['resource'] : undefined) : '')} />
        : <p class="none">No bundle was made.</p>}
    </section>
  );
}

export function Result(p: { result: JsonObject; onRule: (place: string) => void }): JSX.Element {
  const [chosen, choose] = useState('');
  useEffect(() => choose(''), [p.result]);
  const rows = listAt(p.result, 'differences');
  const changed = useMemo(() => textsAt(p.result, 'changed'), [p.result]);
  const left = textsAt(p.result, 'left');
  const sample = textAt(p.result, 'failingSample');
  return (
    <>
      <section class="sheet" aria-label="What came of it">
        <header><h2>What came of it</h2></header>
        <p role="status"><span class={`stand ${textAt(p.result, 'verdict') === 'ready' ? 'is-landed' : 'is-held'}`}>
          {verdictWords(textAt(p.result, 'verdict'), textAt(p.result, 'reason'))}</span>{' '}
          {changed.length === 0 ? 'This is the set in force, unchanged.'
            : `With the set in force: ${verdictWords(textAt(p.result, 'verdictInForce'), textAt(p.result, 'reasonInForce'))}.`}</p>
        {sample && <p class="judged refuse">The engine would not take these files: the sample {sample}</p>}
        {left.length > 0 && <p class="banner">Too large to be shown here: {left.join(', ')}.</p>}
        {changed.length > 0 && rows.length === 0 && <p>The bundle is the same as with the set in force.</p>}
        {rows.length > 0 && <Differences rows={rows} onElement={choose} />}
        <Issues outcome={objectAt(p.result, 'outcome')} />
      </section>
      <Runs told={objectAt(p.result, 'ruleRuns')} changed={changed} onRule={p.onRule} onOutput={choose} />
      <Made result={p.result} chosen={chosen} onChoose={choose} onRule={p.onRule} />
    </>
  );
}
