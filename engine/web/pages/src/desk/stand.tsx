// How a message stands with a record server and what its records say, in words and never by colour alone.

import type { JSX } from 'preact';
import { now } from '../clock';
import { type JsonObject, numberAt, textAt } from '../json';

const kWords: Record<string, string> = {
  accepted: 'Taken in', checked: 'Checked', dispatched: 'On its way', landed: 'In the chart', held: 'Held',
  superseded: 'Carried by a later one', withdrawn: 'Given up',
};
const kTargetWords: Record<string, string> = {
  sending: 'Sending', paused: 'Paused by a person', 'not-configured': 'Not in the configuration',
};
const kEnded = ['landed', 'superseded', 'withdrawn']; // what was to be done about it is past
export function targetWords(state: string): string {
  return kTargetWords[state] ?? 'Waits for the server';
}

export function standWords(state: string): string {
  return kWords[state] ?? state;
}

// Kinds of records, as docs/formats/journal.md lists them.
export const kKinds: [string, string][] = [
  ['accepted', 'Taken in'], ['refused', 'Refused'], ['repeated', 'Sent again'], ['conflicting', 'Conflicting'],
  ['checked', 'Checked'], ['held', 'Held'], ['dispatched', 'Sent out'], ['answered', 'Will be tried again'], ['landed', 'Landed'],
  ['released', 'Released by a person'], ['remapped', 'Translated again'], ['withdrawn', 'Given up'], ['read', 'Read by somebody'],
  ['approved', 'Maps put in force'], ['paused', 'Server paused'], ['resumed', 'Server resumed'], ['handed-out', 'Sheet handed out'], ['link-ended', 'Link of a sheet ended'], ['started', 'Engine started'],
  ['stopped', 'Engine ended'], ['noticed', 'Senders told'], ['shredded', 'Made unreadable by a person'], ['expired', 'Removed for its age'],
  ['rekeyed', 'Under another master key'], ['legal-hold', 'Legal hold begun'], ['legal-hold-ended', 'Legal hold ended'],
  ['signed-in', 'Signed in'], ['signed-out', 'Signed out'], ['not-let-in', 'Not let in'],
  ['also-for', 'Goes to a returned server, too'],
];
export function kindWords(kind: string): string {
  return kKinds.find(([one]) => one === kind)?.[1] ?? kind;
}

export function clock(time: string): string {
  const at = new Date(time);
  const two = (n: number): string => String(n).padStart(2, '0');
  return Number.isNaN(at.getTime()) ? time
    : `${at.getFullYear()}-${two(at.getMonth() + 1)}-${two(at.getDate())} ${two(at.getHours())}:${two(at.getMinutes())}:${two(at.getSeconds())}`;
}

// "4 min" since a time.
export function since(time: string): string {
  const seconds = Math.max(0, Math.round((now() - Date.parse(time)) / 1000));
  if (Number.isNaN(seconds)) return '';
  if (seconds < 90) return `${seconds} s`;
  if (seconds < 5400) return `${Math.round(seconds / 60)} min`;
  return seconds < 172_800 ? `${Math.round(seconds / 3600)} h` : `${Math.round(seconds / 86_400)} days`;
}

// `brief`: one of several in a row; why stands in the message. `takesBack`: what landed is that nothing of it counts any more.
export function Stand(p: { leg: JsonObject; named: boolean; brief?: boolean; takesBack?: boolean }): JSX.Element {
  const state = textAt(p.leg, 'state');
  const attempts = Number(numberAt(p.leg, 'attempts'));
  const next = textAt(p.leg, 'next');
  return (
    <span class="leg">
      {p.named && <><span class="leg-name">{textAt(p.leg, 'target')}</span>{' '}</>}
      <span class={`stand is-${state}`}>{p.takesBack && state === 'landed' ? 'Taken back in the chart' : standWords(state)}</span>
      {!p.brief && state !== 'landed' && (attempts > 1 || next) && <>{' '}
        <span class="none">{attempts > 1 ? `tried ${attempts} times` : ''}{attempts > 1 && next ? ', ' : ''}{next && `next ${clock(next)}`}</span></>}
      {!p.brief && !kEnded.includes(state) && textAt(p.leg, 'reasonText') && <>{' '}<span class="leg-why">{textAt(p.leg, 'reasonText')}</span></>}
    </span>
  );
}
