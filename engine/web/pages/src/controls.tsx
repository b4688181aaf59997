// The controls of a card. Every one is reached and worked by keyboard, names itself to a screen reader, and says what is
// wrong beside the value.

import type { ComponentChildren, JSX } from 'preact';
import { useId, useRef } from 'preact/hooks';
import { readNumber, stepped } from './numbers';
import { type Judged, spoken } from './plausibility';

export interface Zone { low?: number | undefined; high?: number | undefined }

interface NumberProps {
  label: string;
  unit: string;
  value: string;
  onValue: (typed: string) => void;
  judged: Judged;
  confirmed?: boolean;
  onConfirm?: (() => void) | undefined;
  last?: string | undefined; // shown as such, and taken over only by a tap
  chips?: number[];
  step?: number;
  start?: number; // where the first step begins without a last value
  zone?: Zone | undefined;
  scale?: [number, number];
  said?: string | undefined; // what the engine says of it
}

export function NumberField(p: NumberProps): JSX.Element {
  const id = useId();
  const step = p.step ?? 1;
  const start = Number(p.last || p.start || 0);
  const bad = p.judged.grade !== 'good' && !(p.judged.grade === 'confirm' && p.confirmed);
  return (
    <div class={`number ${bad ? `is-${p.judged.grade}` : ''}`} role="group" aria-labelledby={`${id}l`}>
      <div class="number-line">
        <label id={`${id}l`} for={id}>{p.label}</label>
        <button type="button" class="step" aria-label={`${p.label}: ${step} less`}
          onClick={() => p.onValue(stepped(readNumber(p.value).text, -step, start))}>−</button>
        <span class="entry-box">
          <input id={id} type="text" inputMode="decimal" autocomplete="off" value={p.value} maxLength={40}
            placeholder={p.last ?? ''} aria-invalid={bad} aria-describedby={`${id}m`}
            onInput={(event) => p.onValue(event.currentTarget.value)} />
          <span class="unit" aria-hidden="true">{spoken(p.unit)}</span>
        </span>
        <button type="button" class="step" aria-label={`${p.label}: ${step} more`}
          onClick={() => p.onValue(stepped(readNumber(p.value).text, step, start))}>+</button>
      </div>
      {p.scale && <Ruler value={readNumber(p.value).text} last={p.last} zone={p.zone} scale={p.scale} />}
      {p.chips && <div class="chips short">{p.chips.map((one) => (
        <button type="button" class={`chip ${String(one) === p.last ? 'was' : ''}`} key={one}
          aria-pressed={readNumber(p.value).text === String(one)}
          aria-label={`${p.label} ${one} ${spoken(p.unit)}${String(one) === p.last ? ', as last time' : ''}`}
          onClick={() => p.onValue(String(one))}>{one}</button>))}</div>}
      <div id={`${id}m`} class="said" aria-live="polite">
        {p.judged.text && <p class={`judged ${p.judged.grade}`}>{p.judged.text}
          {p.judged.grade === 'confirm' && p.onConfirm && (p.confirmed
            ? <span class="stood"> You confirmed it.</span>
            : <button type="button" class="confirm" onClick={p.onConfirm}>It is right</button>)}</p>}
        {!p.judged.text && p.said && <p class="judged note">{p.said}</p>}
      </div>
    </div>
  );
}

// A line with the ordered range on it, the last value as a tick and the present one as a mark.
export function Ruler(p: { value: string; last?: string | undefined; zone?: Zone | undefined; scale: [number, number] }): JSX.Element {
  const [from, to] = p.scale;
  const x = (value: number): number => 2 + 96 * Math.min(1, Math.max(0, (value - from) / (to - from)));
  const low = x(p.zone?.low ?? from);
  const high = x(p.zone?.high ?? to);
  const value = Number(p.value);
  return (
    <svg class="ruler" viewBox="0 0 100 8" preserveAspectRatio="none" aria-hidden="true">
      <line class="ruler-line" x1="2" x2="98" y1="4" y2="4" />
      {p.zone && <rect class="ruler-zone" x={low} width={Math.max(0, high - low)} y="2" height="4" />}
      {p.last && <rect class="ruler-last" x={x(Number(p.last)) - 0.25} width="0.5" y="0" height="8" />}
      {p.value !== '' && <rect class="ruler-now" x={x(value) - 0.75} width="1.5" y="0" height="8" />}
    </svg>
  );
}

export function Choice(p: {
  label: string; options: [string, string][]; value: string; onValue: (code: string) => void; short?: boolean; hideLabel?: boolean;
}): JSX.Element {
  const id = useId();
  return (
    <div class="choice" role="group" aria-labelledby={id}>
      <span id={id} class={p.hideLabel ? 'quiet' : 'choice-label'}>{p.label}</span>
      <div class={`chips ${p.short ? (p.options.every(([, text]) => text.length < 4) ? 'digits' : 'short') : 'wordy'}`}>{p.options.map(([code, text]) => (
        <button type="button" class="chip" key={code} aria-pressed={p.value === code}
          onClick={() => p.onValue(p.value === code ? '' : code)}>{text}</button>))}</div>
    </div>
  );
}

export function Select(p: {
  label: string; options: [string, string][]; value: string; onValue: (code: string) => void; empty?: string;
}): JSX.Element {
  const id = useId();
  return (
    <div class="field">
      <label for={id}>{p.label}</label>
      <select id={id} value={p.value} onChange={(event) => p.onValue(event.currentTarget.value)}>
        <option value="">{p.empty ?? 'not chosen'}</option>
        {p.options.map(([code, text]) => <option value={code} key={code}>{text}</option>)}
      </select>
    </div>
  );
}

export function TextField(p: {
  label: string; value: string; onValue: (text: string) => void; lines?: number; max?: number; suggestions?: string[];
}): JSX.Element {
  const id = useId();
  const letters = [...p.value].length;
  const shared = { id, value: p.value, dir: 'auto' as const, 'aria-describedby': `${id}m` };
  return (
    <div class="field">
      <label for={id}>{p.label}</label>
      {p.lines
        ? <textarea {...shared} rows={p.lines} onInput={(event) => p.onValue(event.currentTarget.value)} />
        : <input {...shared} type="text" autocomplete="off" maxLength={1000}
            onInput={(event) => p.onValue(event.currentTarget.value)} />}
      {p.suggestions && <div class="chips wordy">{p.suggestions.map((one) => (
        <button type="button" class="chip" key={one} aria-pressed={p.value === one}
          onClick={() => p.onValue(one)}>{one}</button>))}</div>}
      <p id={`${id}m`} class="said" aria-live="polite">
        {p.max !== undefined && letters > p.max * 0.9 &&
          <span class={letters > p.max ? 'judged refuse' : 'judged note'}>{letters} of at most {p.max} characters</span>}
      </p>
    </div>
  );
}

// A dialog of the browser's own: focus stays in it, Escape closes it, focus returns to where it was opened.
export function Dialog(p: { title: string; onClose: () => void; children: ComponentChildren }): JSX.Element {
  const shown = useRef<HTMLDialogElement | null>(null);
  const id = useId();
  return (
    <dialog aria-labelledby={id} onClose={p.onClose}
      ref={(node) => {
        if (node && node !== shown.current) {
          shown.current = node;
          node.showModal();
        }
      }}>
      <div class="dialog-head"><h2 id={id}>{p.title}</h2>
        <button type="button" class="plain" onClick={() => shown.current?.close()}>Close</button></div>
      {p.children}
    </dialog>
  );
}
