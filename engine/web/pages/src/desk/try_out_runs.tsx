// The rules in the order they ran, each with what it read, what it made and what broke.

import type { JSX } from 'preact';
import { useMemo, useState } from 'preact/hooks';
import { Choice } from '../controls';
import { type Json, type JsonObject, listAt, numberAt, textAt } from '../json';

const kShown = 150; // rows at a time

export interface Place { at: string; in: string; value: string | undefined }
export interface RuleRun { place: string; name: string; depth: number; fired: boolean; read: Place[]; made: Place[]; broke: string[] }

function places(run: JsonObject, name: string): Place[] {
  return listAt(run, name).map((one) => ({
    at: textAt(one, 'at'), in: textAt(one, 'in'), value: typeof one['value'] === 'string' ? one['value'] : undefined }));
}

// What the engine tells of the rules (docs/api.md), with each rule's place and name put in. Pure.
export function runsOf(told: JsonObject | undefined): RuleRun[] {
  const rules = Array.isArray(told?.['rules']) ? told['rules'] : [];
  return listAt(told, 'runs').map((run) => {
    const rule: Json | undefined = rules[Number(numberAt(run, 'rule'))];
    const [place, name] = Array.isArray(rule) ? rule.map(String) : [];
    return {
      place: place ?? '', name: name ?? '', depth: Number(numberAt(run, 'depth')), fired: run['fired'] === true,
      read: places(run, 'read'), made: places(run, 'made'), broke: (Array.isArray(run['broke']) ? run['broke'] : []).map(String) };
  });
}

export function fileOf(place: string): string {
  return place.replace(/(:\d+)+$/, '');
}

function PlaceList(p: { title: string; places: Place[]; none: string; onOutput?: (at: string) => void }): JSX.Element {
  return (
    <div class="run-part"><b>{p.title}</b>
      {p.places.length === 0 ? <span class="none"> {p.none}</span> : <ul>{p.places.map((one, i) => (
        <li key={i}>
          {p.onOutput && one.in === '' ? <button type="button" class="plain" onClick={() => p.onOutput?.(one.at)}><code>{one.at || 'the whole'}</code></button>
            : one.in === 'nowhere' ? <span class="none">not kept: nothing filled it, or it was sent before</span>
              : one.at || one.value === undefined ? <code>{one.at || 'the whole document'}</code> : <span class="none">computed</span>}
          {one.in === 'source' && p.onOutput && <span class="none"> (in the document, for later rules)</span>}
          {one.in === 'output' && !p.onOutput && <span class="none"> (made before)</span>}
          {one.value !== undefined && <> <bdi class="value">{one.value}</bdi></>}</li>))}</ul>}
    </div>
  );
}

export function Runs(p: {
  told: JsonObject | undefined; changed: string[]; onRule: (place: string) => void; onOutput: (at: string) => void;
}): JSX.Element {
  const all = useMemo(() => runsOf(p.told), [p.told]);
  const broken = useMemo(() => all.filter((one) => one.broke.length > 0).length, [all]);
  const [which, choose] = useState(broken > 0 ? 'broke' : p.changed.length > 0 ? 'changed' : 'fired');
  const [shown, show] = useState(kShown);
  const rows = useMemo(() => all.filter((one) => (which === 'broke' ? one.broke.length > 0
    : which === 'changed' ? p.changed.includes(fileOf(one.place)) && (one.fired || one.broke.length > 0)
      : which === 'fired' ? one.fired || one.broke.length > 0 : true)), [all, which, p.changed]);
  const log = listAt(p.told, 'log');
  const left = Number(numberAt(p.told, 'left') || '0');
  return (
    <section class="sheet" aria-label="The rules as they ran">
      <header><h2>The rules as they ran</h2></header>
      <Choice label="Show" value={which} onValue={(one) => { choose(one || 'fired'); show(kShown); }} options={[
        ['broke', `That broke (${broken})`], ['changed', 'Of the changed files'], ['fired', 'That fired'], ['all', 'Also those that found nothing']]} />
      <p class="none" role="status">{rows.length} of {all.length} {all.length === 1 ? 'rule run' : 'rule runs'}</p>
      <ol class="runs">{rows.slice(0, shown).map((one, i) => (
        <li key={i} class={`run depth-${Math.min(one.depth, 8)} ${one.broke.length > 0 ? 'broke' : ''}`}>
          <p class="run-rule"><button type="button" class="plain" onClick={() => p.onRule(one.place)}>{one.place}</button>
            {one.name && ` ${one.name}`}{!one.fired && one.broke.length === 0 && <span class="none"> found nothing</span>}</p>
          {one.broke.map((text, k) => <p key={k} class="judged refuse">{text}</p>)}
          {one.fired && <div class="run-parts">
            <PlaceList title="Read" places={one.read} none="nothing" />
            <PlaceList title="Made" places={one.made} none="nothing itself" onOutput={p.onOutput} /></div>}
        </li>))}</ol>
      {rows.length > shown && <button type="button" class="chip" onClick={() => show(shown + kShown)}>Show {Math.min(kShown, rows.length - shown)} more</button>}
      {left > 0 && <p class="banner">{left} later ones are left out: there are too many for one answer.</p>}
      {log.length > 0 && <details><summary>What `log` clauses said</summary>
        <ul class="records">{log.map((one, i) => <li key={i}><code>{textAt(one, 'place')}</code> <bdi>{textAt(one, 'text')}</bdi></li>)}</ul></details>}
    </section>
  );
}

