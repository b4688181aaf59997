// The head of a round: who the patient is, and the plan and limits in force.

import type { ComponentChildren, JSX } from 'preact';
import { type JsonObject, amountAt, isObject, numberAt, objectAt, textAt } from '../json';
import type { Patient } from '../ward';
import { kCaution, word } from '../words';

type Row = [label: string, value: string, set?: string];

function range(low: string, high: string, unit: string): string {
  if (low && high) return `${low} to ${high} ${unit}`;
  if (low) return `from ${low} ${unit}`;
  return high ? `up to ${high} ${unit}` : '';
}

function texts(value: JsonObject | undefined, name: string): string[] {
  const list = value?.[name];
  return Array.isArray(list) ? list.map((one) => (typeof one === 'string' ? word(one) : isObject(one) ? textAt(one, 'text') : ''))
    .filter((one) => one !== '') : [];
}

export function planRows(order: JsonObject | undefined): Row[] {
  const target = objectAt(order, 'saturationTarget');
  const oxygen = objectAt(order, 'oxygen');
  const limits = objectAt(order, 'limits');
  const breathing = objectAt(order, 'breathing');
  const goal = amountAt(breathing, 'volumeGoal');
  const breaths = numberAt(breathing, 'breathsPerSet');
  const sets = numberAt(breathing, 'setsPerHour');
  const setBy = textAt(target, 'setBy');
  const fall = amountAt(limits, 'saturationFall');
  const below = amountAt(limits, 'saturationBelow');
  const rows: Row[] = [
    ['Saturation', range(amountAt(target, 'low'), amountAt(target, 'high'), '%'), setBy && `set by ${setBy}`],
    ['Oxygen', [range(amountAt(oxygen, 'flowMin'), amountAt(oxygen, 'flowMax'), 'L/min'),
      range('', amountAt(oxygen, 'fractionMax'), '%')].filter((one) => one !== '').join(', ')],
    ['Pulse', range('', amountAt(limits, 'pulseMax'), '/min')],
    ['Breathing rate', range('', amountAt(limits, 'breathingRateMax'), '/min')],
    ['Desaturation', [below && `below ${below} %`, fall && `a fall of ${fall} points`].filter((one) => one).join(' or ')],
    ['Exerciser', [goal && `goal ${goal} mL`, breaths && `${breaths} breaths`, sets && (sets === '1' ? 'every waking hour' : `${sets} times each waking hour`)]
      .filter((one) => one).join(', ')],
    ['Weight bearing', textAt(order, 'weightBearing')],
    ['Allowed', texts(order, 'allowedActivity').join(', ')],
    ['Precautions', texts(order, 'precaution').join(', ')],
  ];
  return rows.filter(([, value]) => value !== '');
}

export function Plan(p: { patient: Patient; order: JsonObject | undefined; children?: ComponentChildren }): JSX.Element {
  const rows = planRows(p.order);
  return (
    <section class="plan" aria-labelledby="who">
      <div class="who">
        <span class="bed" aria-label={`Bed ${p.patient.bed}`}>{p.patient.bed}</span>
        <div>
          <h1 id="who" dir="auto">{p.patient.name}</h1>
          <p class="ids">{p.patient.birthDate && <>born {p.patient.birthDate} · </>}<bdi>{p.patient.code}</bdi></p>
        </div>
      </div>
      {rows.length === 0
        ? <p class="none">No order is given for this patient. Nothing that needs a limit is computed.</p>
        : <dl>{rows.map(([label, value, set]) => (
          <div key={label}><dt>{label}</dt><dd dir="auto">{value}{set && <small>{set}</small>}</dd></div>))}</dl>}
      {p.children}
      <p class="caution">{kCaution}</p>
    </section>
  );
}
