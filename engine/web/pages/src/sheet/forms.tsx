// What a patient puts in: a set that was done, and a reading of an oximeter. Few and large controls.

import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import { NumberField } from '../controls';
import { type JsonObject, Num } from '../json';
import { readNumber } from '../numbers';
import { type Judged, type Table, judge } from '../plausibility';
import type { SheetPlan } from './plan';

interface Field { element: string; unit?: string; typed: string; needed: boolean }

function judged(table: Table | undefined, field: Field): Judged {
  const number = readNumber(field.typed);
  if (number.problem) return { grade: 'refuse', text: number.problem };
  if (number.text === '') return field.needed ? { grade: 'refuse', text: '' } : { grade: 'good', text: '' };
  return judge(table, { element: field.element, ...(field.unit ? { unit: field.unit } : {}) }, number.text);
}
const textOf = (typed: string): string => readNumber(typed).text;
const number = (typed: string): Num | undefined => (textOf(typed) === '' ? undefined : new Num(textOf(typed)));
// The sheet takes whole millilitres, breaths and beats.
const whole = (one: Judged, typed: string): Judged =>
  one.grade === 'good' && textOf(typed).includes('.') ? { grade: 'refuse', text: 'Write a whole number.' } : one;

// The same values stood by once need no second word.
function useStood(state: string): [boolean, () => void] {
  const [stood, set] = useState('');
  return [stood === state, () => set(state)];
}
const isBad = (one: Judged, stood: boolean): boolean => one.grade === 'refuse' || (one.grade === 'confirm' && !stood);

export function SetForm(p: {
  plan: SheetPlan; table: Table | undefined; last: string; onSave: (kind: JsonObject) => void; onCancel: () => void;
}): JSX.Element {
  const [breaths, setBreaths] = useState(p.plan.breaths > 0 ? String(p.plan.breaths) : '');
  const [best, setBest] = useState('');
  const [stood, stand] = useStood(`${breaths} ${best}`);
  const ofBreaths = whole(judged(p.table, { element: 'entry.breathingExerciser.breaths', typed: breaths, needed: true }), breaths);
  const ofBest = whole(judged(p.table, { element: 'entry.breathingExerciser.repetition.volume', unit: 'mL', typed: best, needed: false }), best);
  const middle = Math.round((p.plan.goal || Number(p.last) || 1000) / 250) * 250;
  const chips = Array.from({ length: 6 }, (_, i) => Math.max(250, middle - 750) + i * 250);
  return (
    <section class="form" aria-labelledby="set-form">
      <h2 id="set-form">How was the set?</h2>
      <NumberField label="Breaths" unit="" value={breaths} judged={ofBreaths} confirmed={stood} onConfirm={stand} onValue={setBreaths} />
      <NumberField label="Best volume, if you looked" unit="mL" value={best} judged={ofBest} confirmed={stood} onConfirm={stand}
        step={50} start={middle} chips={chips} onValue={setBest} />
      <div class="form-end">
        <button type="button" class="plain" onClick={p.onCancel}>Cancel</button>
        <button type="button" class="send" disabled={isBad(ofBreaths, stood) || isBad(ofBest, stood)}
          onClick={() => p.onSave({ set: { breaths: number(breaths), best: number(best) } })}>Save the set</button>
      </div>
    </section>
  );
}

export function ReadingForm(p: { table: Table | undefined; onSave: (kind: JsonObject) => void; onCancel: () => void }): JSX.Element {
  const [saturation, setSaturation] = useState('');
  const [pulse, setPulse] = useState('');
  const [stood, stand] = useStood(`${saturation} ${pulse}`);
  const typed = judged(p.table, { element: 'entry.vitals.saturation', unit: '%', typed: saturation, needed: true });
  const ofSaturation: Judged = typed.grade === 'good' && /\.\d{3}/.test(textOf(saturation))
    ? { grade: 'refuse', text: 'Write at most two digits after the point.' } : typed;
  const ofPulse = whole(judged(p.table, { element: 'entry.vitals.pulse', unit: '/min', typed: pulse, needed: false }), pulse);
  return (
    <section class="form" aria-labelledby="reading-form">
      <h2 id="reading-form">What does the oximeter show?</h2>
      <NumberField label="Oxygen" unit="%" value={saturation} judged={ofSaturation} confirmed={stood} onConfirm={stand} start={95}
        onValue={setSaturation} />
      <NumberField label="Pulse, if it shows one" unit="/min" value={pulse} judged={ofPulse} confirmed={stood} onConfirm={stand} start={80}
        onValue={setPulse} />
      <div class="form-end">
        <button type="button" class="plain" onClick={p.onCancel}>Cancel</button>
        <button type="button" class="send" disabled={isBad(ofSaturation, stood) || isBad(ofPulse, stood)}
          onClick={() => p.onSave({ reading: { saturation: number(saturation), pulse: number(pulse) } })}>Save the reading</button>
      </div>
    </section>
  );
}
