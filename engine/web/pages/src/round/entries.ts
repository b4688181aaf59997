// Cards of a draft as entries of the session document, with what keeps a card from being recorded.

import codes from 'generated/codes.json';
import { stamp } from '../clock';
import { type Json, type JsonObject, Num } from '../json';
import { readNumber } from '../numbers';
import { type Judged, type Place, type Table, judge } from '../plausibility';
import { type Card, type Draft, isConfirmed, isTouched, kCards } from './draft';

// R4 allows 1 MiB in a string; a note that long is no note. What is longer is refused in the field.
export const kNoteMax = 10_000;

export interface Trouble { card: Card; field: string; judged: Judged }
export interface Made { card: Card; entries: JsonObject[] }

const kUnits: Record<string, string> = {
  saturation: '%', flow: 'L/min', fraction: '%', pulse: '/min', breathingRate: '/min', before: '%', lowest: '%', after: '%',
  distance: 'm', volume: 'mL', pressure: 'cm[H2O]', other: 'mL',
};

interface Field { card: Card; field: string; place: Place; typed: (draft: Draft) => string; unit: string }

function field(card: Card, name: string, element: string, typed: (draft: Draft) => string): Field {
  const unit = card === 'rating' ? '' : (kUnits[name] ?? '');
  return { card, field: name, typed, unit, place: { element, ...(unit ? { unit } : {}) } };
}

// Every number that a card takes: where it stands in the session document.
export const kFields: Field[] = [
  field('vitals', 'saturation', 'entry.vitals.saturation', (d) => d.vitals.saturation),
  field('vitals', 'flow', 'entry.vitals.oxygen.flow', (d) => d.vitals.flow),
  field('vitals', 'fraction', 'entry.vitals.oxygen.fraction', (d) => d.vitals.fraction),
  field('vitals', 'pulse', 'entry.vitals.pulse', (d) => d.vitals.pulse),
  field('vitals', 'breathingRate', 'entry.vitals.breathingRate', (d) => d.vitals.breathingRate),
  field('exerciser', 'other', 'entry.breathingExerciser.repetition.volume', (d) => d.exerciser.other),
  field('pep', 'pressure', 'entry.pepSet.pressure', (d) => d.pep.pressure),
  field('activity', 'before', 'entry.selfCare.saturationBefore', (d) => d.activity.before),
  field('activity', 'lowest', 'entry.selfCare.saturationLowest', (d) => d.activity.lowest),
  field('activity', 'after', 'entry.selfCare.saturationAfter', (d) => d.activity.after),
  field('activity', 'distance', 'entry.walk.distance', (d) => d.activity.distance),
  field('rating', 'breathlessness', 'entry.rating.breathlessness', (d) => d.rating.breathlessness),
  field('rating', 'exertion', 'entry.rating.exertion', (d) => d.rating.exertion),
  field('fluids', 'volume', 'entry.fluids.volume', (d) => d.fluids.volume),
];

export function judgeField(table: Table | undefined, draft: Draft, card: Card, name: string): Judged {
  const found = kFields.find((one) => one.card === card && one.field === name);
  if (!found) return { grade: 'good', text: '' };
  const typed = readNumber(found.typed(draft));
  if (typed.problem !== '') return { grade: 'refuse', text: typed.problem };
  return judge(table, { ...found.place, device: draft.vitals.device }, typed.text);
}

// What the table finds in the cards that hold something, and what a card still lacks. An improbable value that a person
// stands by is none.
export function troubles(table: Table | undefined, draft: Draft): Trouble[] {
  const out: Trouble[] = [];
  for (const one of kFields) {
    const judged = judgeField(table, draft, one.card, one.field);
    if (judged.grade === 'refuse' || (judged.grade === 'confirm' && !isConfirmed(draft, one.card))) {
      out.push({ card: one.card, field: one.field, judged });
    }
  }
  for (const breath of draft.exerciser.breaths) {
    const judged = judge(table, { element: 'entry.breathingExerciser.repetition.volume', unit: 'mL' }, breath.volume);
    if (judged.grade === 'refuse' || (judged.grade === 'confirm' && !isConfirmed(draft, 'exerciser'))) {
      out.push({ card: 'exerciser', field: 'breaths', judged });
      break;
    }
  }
  const missing = (card: Card, name: string, text: string): void => {
    if (isTouched(draft, card)) out.push({ card, field: name, judged: { grade: 'refuse', text } });
  };
  const { vitals, pep, position, activity, fluids, teaching, note } = draft;
  if ((vitals.flow.trim() || vitals.fraction.trim()) && !vitals.device) missing('vitals', 'device', 'Choose the oxygen device.');
  if (pep.repetitions === 0) missing('pep', 'repetitions', 'Count the breaths of the set.');
  if (activity.what === '') missing('activity', 'what', 'Choose the activity.');
  else if (activity.help === '') missing('activity', 'help', 'Choose the level of help.');
  if (position.position === '') missing('position', 'position', 'Choose the position.');
  if (fluids.volume.trim() === '') missing('fluids', 'volume', 'Say how much.');
  if (teaching.topic.trim() === '') missing('teaching', 'topic', 'Say what was taught.');
  else if (teaching.learner.length === 0) missing('teaching', 'learner', 'Choose who was taught.');
  const letters = [...note.text].length;
  if (letters > kNoteMax) missing('note', 'text', `A note has at most ${kNoteMax} characters; these are ${letters}.`);
  return out;
}

const numberOf = (typed: string): Num | undefined => {
  const { text } = readNumber(typed);
  return text === '' ? undefined : new Num(text);
};
const amount = (typed: string, unit: string): Json | undefined => {
  const value = numberOf(typed);
  return value && { value, unit };
};
const orNone = (text: string): string | undefined => (text.trim() === '' ? undefined : text.trim());

function oxygenOf(vitals: Draft['vitals']): JsonObject | undefined {
  if (vitals.device === '') return undefined;
  return { device: vitals.device, flow: amount(vitals.flow, 'L/min'), fraction: amount(vitals.fraction, '%') };
}

export function isSelfCare(what: string): boolean {
  return (codes['self-care'] ?? []).some(([code]) => code === what);
}

// Whoever does self-care has before, lowest and after in the entry itself; around a walk or a transfer they are
// readings of their own, taken in that activity.
function activityEntries(draft: Draft, time: number, id: () => string): JsonObject[] {
  const { what, help, before, lowest, after, distance, from, to } = draft.activity;
  const when: JsonObject = from > 0 && to > from ? { period: { start: stamp(from), end: stamp(to) } } : { time: stamp(time) };
  const own = id();
  if (isSelfCare(what)) {
    return [{ id: own, ...when, selfCare: {
      activity: what, help, saturationBefore: amount(before, '%'), saturationLowest: amount(lowest, '%'),
      saturationAfter: amount(after, '%'), oxygen: oxygenOf(draft.vitals),
    } }];
  }
  const kind: JsonObject = what === 'walk'
    ? { walk: { distance: amount(distance, 'm'), help } }
    : { transfer: { activity: what, help } };
  const start = from > 0 ? from : time;
  const end = to > start ? to : start;
  const reading = (typed: string, phase: string, at: number, during?: string): JsonObject[] => {
    const saturation = amount(typed, '%');
    return saturation ? [{ id: id(), time: stamp(at), phase, during, vitals: { saturation, oxygen: oxygenOf(draft.vitals) } }] : [];
  };
  return [
    ...reading(before, 'rest', start),
    { id: own, ...when, ...kind },
    ...reading(lowest, 'effort', Math.round((start + end) / 2), own),
    ...reading(after, 'recovery', end),
  ];
}

function kindsOf(draft: Draft, card: Card): JsonObject {
  const { vitals, exerciser, pep, position, rating, fluids, teaching, note } = draft;
  switch (card) {
    case 'vitals': return { phase: orNone(vitals.phase), vitals: {
      saturation: amount(vitals.saturation, '%'), oxygen: oxygenOf(vitals), pulse: amount(vitals.pulse, '/min'),
      breathingRate: amount(vitals.breathingRate, '/min') } };
    case 'exerciser': return { breathingExerciser: {
      repetition: exerciser.breaths.map((one) => ({ volume: { value: new Num(one.volume), unit: 'mL' } })),
      technique: orNone(exerciser.technique) } };
    case 'pep': return { pepSet: { repetitions: new Num(String(pep.repetitions)), pressure: amount(pep.pressure, 'cm[H2O]') } };
    case 'position': {
      const minutes = position.from > 0 && position.to > position.from
        ? { value: new Num(String(Math.max(1, Math.round((position.to - position.from) / 60_000)))), unit: 'min' } : undefined;
      return { positioning: { position: position.position, minutes, help: orNone(position.help) } };
    }
    case 'rating': return { rating: { breathlessness: numberOf(rating.breathlessness), exertion: numberOf(rating.exertion) } };
    case 'fluids': return { fluids: { volume: amount(fluids.volume, 'mL'), what: orNone(fluids.what) } };
    case 'teaching': return { teaching: { topic: teaching.topic.trim(), learner: teaching.learner,
      teachBack: orNone(teaching.teachBack) } };
    case 'note': return { note: { text: note.text.trim() } };
    case 'activity': return {};
  }
}

// The entries of every card that holds something. `time`: when it is recorded, for cards that kept no time of their own.
export function entriesOfDraft(draft: Draft, time: number, id: () => string): Made[] {
  return kCards.filter((card) => isTouched(draft, card)).map((card) => {
    const at = draft.times[card] ?? time;
    if (card === 'activity') return { card, entries: confirmedAs(draft, card, activityEntries(draft, at, id)) };
    const first = card === 'exerciser' ? draft.exerciser.breaths[0]?.at ?? at : draft.position.from;
    const last = card === 'exerciser' ? draft.exerciser.breaths.at(-1)?.at ?? at : draft.position.to;
    const lasts = (card === 'exerciser' || card === 'position') && first > 0 && last - first >= 1_000;
    const when: JsonObject = lasts ? { period: { start: stamp(first), end: stamp(last) } } : { time: stamp(at) };
    return { card, entries: confirmedAs(draft, card, [{ id: id(), ...when, ...kindsOf(draft, card) }]) };
  });
}

function confirmedAs(draft: Draft, card: Card, entries: JsonObject[]): JsonObject[] {
  return isConfirmed(draft, card) ? entries.map((one) => ({ ...one, confirmed: true })) : entries;
}

export function freshId(): string {
  return `e-${crypto.randomUUID().slice(0, 13)}`;
}
