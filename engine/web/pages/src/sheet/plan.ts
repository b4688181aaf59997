// A patient's sheet in plain words, from the order and the site's own texts. Nothing is added: where nobody has written
// when to stop or whom to call, the sheet says that. Pure.

import { type JsonObject, amountAt, numberAt, objectAt, textAt } from '../json';
import type { Patient, Ward } from '../ward';

export interface SheetPlan {
  name: string;
  facility: string;
  breaths: number; // of a set; 0: not ordered
  sets: number; // an hour; 0: not ordered
  goal: number; // mL; 0: not ordered
  from: number; // hour of day
  to: number; // hour of day, not in it any more; equal to `from`: not ordered
  low: string; // ordered saturation, %; '' when not ordered
  high: string;
  stop: string[];
  call: string[];
}

export const kEmergency = 'In an emergency use the call bell or your local emergency number.';
export const kNobody = 'Nobody has written this down for you. Ask your nurse.';

function texts(value: JsonObject, name: string): string[] {
  const list = value[name];
  return Array.isArray(list) ? list.filter((one): one is string => typeof one === 'string') : [];
}

// The members as POST /sheet/plan answers them.
export function planOf(told: JsonObject): SheetPlan {
  const breathing = objectAt(told, 'breathing');
  const target = objectAt(told, 'saturationTarget');
  const hour = (name: string): number => Number(textAt(breathing, name).slice(0, 2) || '0');
  const last = textAt(breathing, 'wakingTo').slice(3, 5) > '00' ? 1 : 0;
  return {
    name: textAt(told, 'name'), facility: textAt(told, 'facility'),
    breaths: Number(numberAt(breathing, 'breathsPerSet') || '0'), sets: Number(numberAt(breathing, 'setsPerHour') || '0'),
    goal: Number(amountAt(breathing, 'volumeGoal') || '0'), from: hour('wakingFrom'), to: hour('wakingTo') + last,
    low: amountAt(target, 'low'), high: amountAt(target, 'high'), stop: texts(told, 'stop'), call: texts(told, 'call'),
  };
}

export function planOfWard(ward: Ward, patient: Patient): SheetPlan {
  const order = objectAt(patient.frame, 'order');
  const lines = (name: string): JsonObject => {
    const own = patient.sheet?.[name] ?? ward.sheet?.[name];
    return own === undefined ? {} : { [name]: own };
  };
  return planOf({
    name: patient.name, facility: textAt(ward.facility, 'display'), breathing: order?.['breathing'],
    saturationTarget: order?.['saturationTarget'], ...lines('stop'), ...lines('call'),
  });
}

export function isOrdered(plan: SheetPlan): boolean {
  return plan.breaths > 0 || plan.goal > 0;
}
export function wakingHours(plan: SheetPlan): number[] {
  return Array.from({ length: Math.max(0, plan.to - plan.from) }, (_, i) => plan.from + i);
}
export function setsOfHour(plan: SheetPlan): number {
  return Math.max(1, plan.sets);
}
export function breathsWords(count: number): string {
  return `${count} ${count === 1 ? 'breath' : 'breaths'}`;
}

export function whatToDo(plan: SheetPlan): string[] {
  if (!isOrdered(plan)) return ['No breathing exercise is ordered for you. Ask your therapist what to do.'];
  const out: string[] = [];
  const sets = plan.sets === 1 || plan.sets === 0 ? 'one set' : `${plan.sets} sets`;
  const when = plan.to > plan.from ? `Every hour from ${plan.from} to ${plan.to} o’clock, when you are awake`
    : plan.sets > 0 ? 'Every hour when you are awake' : 'When your therapist says';
  out.push(`${when}: ${sets}${plan.breaths > 0 ? ` of ${breathsWords(plan.breaths)}` : ''} with your breathing exerciser.`);
  if (plan.goal > 0) out.push(`The goal ordered for you is ${plan.goal} mL.`);
  return out;
}

// "94 to 98 %"
export function rangeWords(plan: SheetPlan): string {
  if (plan.low && plan.high) return `${plan.low} to ${plan.high} %`;
  return plan.low ? `${plan.low} % or more` : '';
}
