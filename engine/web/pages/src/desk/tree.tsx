// A JSON value as a list of lists, whose lines can be pointed at: by pointer, by Tab and Enter, by touch. What is folded
// is not rendered, so that a bundle of a hundred resources opens at once.

import type { JSX } from 'preact';
import { useEffect, useRef, useState } from 'preact/hooks';
import { type Json, Num, isObject } from '../json';

export interface TreeProps {
  label: string;
  value: Json;
  marks: Set<string>; // places that are lit up
  chosen: string; // the place that was pointed at in this tree
  onChoose: (place: string) => void;
  folded: (place: string) => boolean; // at first
  title?: (place: string, value: Json) => string; // of a folded one
  litWords?: string; // what it means to be lit up, for a screen reader
}

function textOf(value: Json): string {
  if (value instanceof Num) return value.text;
  return typeof value === 'string' ? value : String(value);
}

function childrenOf(value: Json): [string, Json][] {
  if (Array.isArray(value)) return value.map((one, i) => [String(i), one]);
  if (!isObject(value)) return [];
  return Object.entries(value).filter((one): one is [string, Json] => one[1] !== undefined);
}

// RFC 6901
function step(name: string): string {
  return name.replace(/~/g, '~0').replace(/\//g, '~1');
}

function Branch(p: TreeProps & { name: string; place: string; value: Json }): JSX.Element {
  const children = childrenOf(p.value);
  const inner = children.length > 0;
  const lit = p.marks.has(p.place);
  const holds = inner && !lit && [...p.marks].some((one) => one.startsWith(`${p.place}/`));
  const [open, setOpen] = useState(!p.folded(p.place));
  useEffect(() => { if (holds) setOpen(true); }, [holds]);
  const line = useRef<HTMLButtonElement>(null);
  const first = lit && p.marks.values().next().value === p.place;
  useEffect(() => { if (first) line.current?.scrollIntoView({ block: 'nearest' }); }, [first]);
  const choose = (
    <button ref={line} type="button" class={`line ${lit ? 'lit' : ''}`} aria-pressed={p.chosen === p.place}
      onClick={() => p.onChoose(p.chosen === p.place ? '' : p.place)}>
      <span class="name">{p.name}</span>
      {inner ? <span class="none">{p.title?.(p.place, p.value) ?? ''}</span> : <bdi class="value">{children.length === 0 && (Array.isArray(p.value) || isObject(p.value)) ? '' : textOf(p.value)}</bdi>}
      {lit && <span class="quiet"> {p.litWords ?? '(belongs to what is chosen)'}</span>}
    </button>);
  return (
    <li>
      {inner && <button type="button" class="fold" aria-expanded={open} aria-label={`${open ? 'Fold' : 'Unfold'} ${p.name}`}
        onClick={() => setOpen(!open)}>{open ? '−' : '+'}</button>}
      {choose}
      {inner && open && <ul>{children.map(([name, value]) => (
        <Branch {...p} key={name} name={name} place={`${p.place}/${step(name)}`} value={value} />))}</ul>}
    </li>
  );
}

export function Tree(p: TreeProps): JSX.Element {
  return (
    <ul class="tree" aria-label={p.label}>{childrenOf(p.value).map(([name, value]) => (
      <Branch {...p} key={name} name={name} place={`/${step(name)}`} value={value} />))}</ul>
  );
}
