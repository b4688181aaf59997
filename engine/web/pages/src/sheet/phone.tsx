// The sheet on the patient's phone: what to do in this hour, a large button to tick it, the day, when to stop and whom to
// call.

import type { JSX } from 'preact';
import { useEffect, useState } from 'preact/hooks';
import { clockText, dayOf, now, stamp } from '../clock';
import { useOnline, useTable } from '../hooks';
import { type JsonObject, numberAt, objectAt, parse, isObject, textAt } from '../json';
import { onKept } from '../kept';
import { kCaution } from '../words';
import { ReadingForm, SetForm } from './forms';
import { Lines, Paper } from './paper';
import { type SheetPlan, breathsWords, isOrdered, kEmergency, planOf, rangeWords, setsOfHour, wakingHours, whatToDo } from './plan';
import { type KeptSheet, entriesOf, sheetOf, takeBack, tick, wake } from './queue';

const kRecent = 3_600_000; // milliseconds in which a low reading stays at the top

function useSheet(token: string): KeptSheet | undefined {
  const [sheet, set] = useState<KeptSheet>();
  useEffect(() => {
    const load = (): void => void sheetOf(token).then(set);
    const again = (): void => { if (!document.hidden) wake(token); };
    load();
    wake(token);
    addEventListener('online', again);
    document.addEventListener('visibilitychange', again);
    const stop = onKept((name) => { if (name.startsWith('sheet-')) load(); });
    return () => {
      stop();
      removeEventListener('online', again);
      document.removeEventListener('visibilitychange', again);
    };
  }, [token]);
  return sheet;
}

// The clock hour, looked at twice a minute.
function useMinute(): number {
  const [time, set] = useState(now());
  useEffect(() => {
    const timer = setInterval(() => set(now()), 30_000);
    return () => clearInterval(timer);
  }, []);
  return time;
}

const timeOf = (entry: JsonObject): number => Date.parse(textAt(entry, 'time'));

function wordsOf(entry: JsonObject): string {
  const set = objectAt(entry, 'set');
  if (set) {
    const best = numberAt(set, 'best');
    return `Set of ${breathsWords(Number(numberAt(set, 'breaths')))}${best ? `, best ${best} mL` : ''}`;
  }
  const reading = objectAt(entry, 'reading');
  const pulse = numberAt(reading, 'pulse');
  return `Oxygen ${numberAt(reading, 'saturation')} %${pulse ? `, pulse ${pulse}` : ''}`;
}

function isLow(plan: SheetPlan, entry: JsonObject): boolean {
  const value = numberAt(objectAt(entry, 'reading'), 'saturation');
  return plan.low !== '' && value !== '' && Number(value) < Number(plan.low);
}

function Waiting(p: { sheet: KeptSheet; online: boolean }): JSX.Element {
  const count = p.sheet.waiting.filter((one) => one.problem === '').length + p.sheet.back.length;
  return (
    <p class={`sheet-link ${count > 0 ? 'is-off' : ''}`} role="status">{count === 0
      ? (p.online ? 'Everything is sent.' : 'No network just now. You can go on.')
      : `${count} ${count === 1 ? 'waits' : 'wait'} on this phone and ${count === 1 ? 'is' : 'are'} sent by ${count === 1 ? 'itself' : 'themselves'}.`}</p>
  );
}

function Day(p: { plan: SheetPlan; sets: JsonObject[]; time: number }): JSX.Element | null {
  const today = p.sets.filter((one) => dayOf(timeOf(one)) === dayOf(p.time));
  const hours = wakingHours(p.plan);
  const at = new Date(p.time).getHours();
  const count = (hour: number): number => today.filter((one) => new Date(timeOf(one)).getHours() === hour).length;
  if (hours.length === 0) return null;
  return (
    <section class="day"><h2>Today</h2>
      <ol>{hours.map((hour) => {
        const done = count(hour);
        return <li key={hour} class={done > 0 ? 'is-met' : ''} aria-current={hour === at ? 'time' : undefined}>
          <span class="hour">{hour}</span><b aria-hidden="true">{done > 0 ? '✓'.repeat(Math.min(done, 3)) : hour < at ? '–' : ' '}</b>
          <span class="quiet">o’clock: {done > 0 ? `${done} done` : hour < at ? 'not ticked' : 'to come'}</span></li>;
      })}</ol></section>
  );
}

function Recorded(p: { token: string; sheet: KeptSheet; entries: JsonObject[] }): JSX.Element | null {
  if (p.entries.length === 0) return null;
  return (
    <section class="ticked"><h2>What you recorded</h2>
      <ul>{[...p.entries].reverse().map((entry) => {
        const id = textAt(entry, 'id');
        const waits = p.sheet.waiting.find((one) => one.id === id);
        const seen = entry['seen'] === true;
        return <li key={id}><span><time>{clockText(timeOf(entry))}</time> {wordsOf(entry)}
          <small>{waits?.problem ? `Not taken: ${waits.problem} Tell your nurse or therapist.` : waits ? 'Waits on this phone'
            : seen ? 'Your therapist has seen it' : 'Sent'}</small></span>
          {!seen && <button type="button" class="plain" aria-label={`Take back: ${clockText(timeOf(entry))}, ${wordsOf(entry)}`}
            onClick={() => void takeBack(p.token, id)}>Take back</button>}</li>;
      })}</ul></section>
  );
}

function Low(p: { plan: SheetPlan; entry: JsonObject }): JSX.Element {
  return (
    <section class="low" role="alert"><h2>{wordsOf(p.entry)} at {clockText(timeOf(p.entry))}</h2>
      <p>This is under the range that was ordered for you: {rangeWords(p.plan)}.</p>
      <p><b>Whom to call:</b></p><Lines lines={p.plan.call} /><p>{kEmergency}</p></section>
  );
}

export function Phone(p: { token: string }): JSX.Element {
  const sheet = useSheet(p.token);
  const table = useTable();
  const online = useOnline();
  const time = useMinute();
  const [form, open] = useState<'set' | 'reading' | ''>('');
  const [said, say] = useState('');
  if (!sheet) return <p class="opening">Opening …</p>;
  const told = sheet.plan === '' ? undefined : parse(sheet.plan);
  const entries = entriesOf(sheet);
  if (!isObject(told)) {
    return <main class="patient-sheet"><h1>My breathing exercises</h1>
      <p role="alert" class="judged confirm">{sheet.ended
        ? 'This link does not work, or not any more. Ask your therapist or nurse for a new one.'
        : online ? 'Opening …' : 'There is no network. Open the link again when there is one.'}</p>
      {sheet.waiting.length > 0 && <Recorded token={p.token} sheet={sheet} entries={entries} />}
      <p>{kEmergency}</p></main>;
  }
  const plan = planOf(told);
  const sets = entries.filter((one) => objectAt(one, 'set'));
  const hour = new Date(time).getHours();
  const waking = wakingHours(plan);
  const done = sets.filter((one) => dayOf(timeOf(one)) === dayOf(time) && new Date(timeOf(one)).getHours() === hour).length;
  const reading = entries.filter((one) => objectAt(one, 'reading')).at(-1);
  const last = sets.map((one) => numberAt(objectAt(one, 'set'), 'best')).filter((one) => one !== '').at(-1) ?? '';
  const save = (kind: JsonObject): void => {
    const at = now();
    const id = `e-${crypto.randomUUID().slice(0, 13)}`;
    void tick(p.token, { id, time: stamp(at), ...kind }).then(() => {
      open('');
      say(`Saved at ${clockText(at)}.`);
    }, () => say('This phone has no room to keep it. Tell your nurse.'));
  };
  return (
    <main class="patient-sheet">
      <div class="on-screen">
        <header><h1>My breathing exercises</h1><p><bdi>{plan.name}</bdi>{plan.facility && <> · {plan.facility}</>}</p></header>
        {reading && isLow(plan, reading) && time - timeOf(reading) < kRecent && <Low plan={plan} entry={reading} />}
        <section class="now"><h2>{waking.length === 0 || waking.includes(hour) ? `Now, ${hour} to ${hour + 1} o’clock` : 'Now is time to rest'}</h2>
          {isOrdered(plan) && <p class="big">{done} of {setsOfHour(plan)} {setsOfHour(plan) === 1 ? 'set' : 'sets'} done</p>}
          {form === '' && <button type="button" class="tap do" onClick={() => open('set')}>
            I did a set{plan.breaths > 0 && ` of ${breathsWords(plan.breaths)}`}</button>}
          {form === '' && <button type="button" class="chip do" onClick={() => open('reading')}>I have an oximeter reading</button>}
          {form === 'set' && <SetForm plan={plan} table={table} last={last} onSave={save} onCancel={() => open('')} />}
          {form === 'reading' && <ReadingForm table={table} onSave={save} onCancel={() => open('')} />}
          <p class="said" role="status">{said}</p>
          <Waiting sheet={sheet} online={online} /></section>
        <section><h2>What to do</h2><ul class="dots">{whatToDo(plan).map((one) => <li key={one}>{one}</li>)}</ul></section>
        <Day plan={plan} sets={sets} time={time} />
        <section><h2>When to stop</h2><Lines lines={plan.stop} /></section>
        <section><h2>Whom to call</h2><Lines lines={plan.call} /><p><b>{kEmergency}</b></p></section>
        <Recorded token={p.token} sheet={sheet} entries={entries} />
        <section class="last"><p>Nobody watches this page. Your therapist looks at it later.</p>
          <p>The link works until {dayOf(Date.parse(textAt(told, 'expires')))}, {clockText(Date.parse(textAt(told, 'expires')))}.</p>
          <button type="button" class="plain" onClick={() => window.print()}>Print this sheet</button>
          <p class="caution">{kCaution}</p></section>
      </div>
      <Paper plan={plan} day={dayOf(time)} />
    </main>
  );
}
