// What the charts of a patient's progress are drawn from: the values as they were recorded, and the findings as the
// engine computes them. Nothing is computed here but which clock hour a breath belongs to. Pure.

import { isApart } from '../attested';
import { type JsonObject, amountAt, isObject, listAt, numberAt, objectAt, textAt } from '../json';
import { describe, kindWords } from '../round/describe';
import { timesOf } from '../session';
import { options, word, wordIn } from '../words';

export interface Course { session: string; revision: string; stand: string; document: JsonObject; findings: JsonObject[] }
// Where a value comes from, so that it can be opened.
export interface Source { course: Course; index: number; entry: JsonObject }
export interface Point { time: number; value: number; source: Source; name: string }
export interface Activity {
  time: number; name: string; before: string; lowest: string; after: string; recovery: string; help: string; fell: boolean; source: Source;
}
export interface Counted { time: number; breaths: number; apart: boolean } // apart: by the patient, not looked through
export interface HourOfDay { hour: number; breaths: number; apart: number; waking: boolean }
export interface Gathered {
  saturation: Point[]; flow: Point[]; lowest: Point[]; breaths: Point[]; best: Point[]; predicted: Point[];
  breathlessness: Point[]; exertion: Point[]; pain: Point[];
  reported: Point[]; reportedBest: Point[]; // by the patient, not looked through: saturation, volume
  counted: Counted[];
  activities: Activity[]; events: Point[];
}

function timeOf(entry: JsonObject, end = false): number {
  const { start, end: last } = timesOf(entry);
  return Date.parse(end ? last : start);
}

// A code table of help levels: "05" is "Setup or clean-up help".
export function helpWords(code: string): string {
  return wordIn('help', code);
}
export function helpRank(code: string): number {
  return options('help').findIndex(([one]) => one === code);
}

function amountText(value: JsonObject | undefined): string {
  return value ? [numberAt(value, 'value'), textAt(value, 'unit')].filter((one) => one !== '').join(' ') : '';
}

// A finding in words: its value with unit, or that it cannot be told.
export function findingText(finding: JsonObject | undefined): string {
  if (!finding) return '';
  return amountText(objectAt(finding, 'value')) || (textAt(finding, 'absent') ? 'not determined' : textAt(finding, 'text'));
}

export function findingOf(course: Course, code: string, entry = ''): JsonObject | undefined {
  return course.findings.find((one) => textAt(one, 'code') === code && (entry === '' || textAt(one, 'entry') === entry));
}

function activityName(entry: JsonObject): string {
  for (const kind of ['selfCare', 'transfer']) {
    const activity = textAt(objectAt(entry, kind), 'activity');
    if (activity) return word(activity);
  }
  const position = textAt(objectAt(entry, 'positioning'), 'position');
  return position ? word(position) : kindWords(entry);
}

function oxygenFlow(oxygen: JsonObject | undefined): number {
  if (!oxygen) return NaN;
  const flow = amountAt(oxygen, 'flow');
  if (flow) return Number(flow);
  return textAt(oxygen, 'device') === 'room-air' ? 0 : NaN;
}

// "0:45:00" steps of SampledData (FHIR R4, SampledData): origin + factor x value, every `period` milliseconds.
function samples(series: JsonObject | undefined, start: number): [number, number][] {
  if (!series) return [];
  const origin = Number(amountAt(series, 'origin') || '0');
  const factor = Number(numberAt(series, 'factor') || '1');
  const period = Number(numberAt(series, 'period'));
  return textAt(series, 'data').split(' ').map((one, i): [number, number] => [start + i * period, origin + factor * Number(one)])
    .filter(([, value]) => !Number.isNaN(value));
}

function gatherEntry(out: Gathered, course: Course, entry: JsonObject, index: number): void {
  const source = { course, index, entry };
  const put = (list: Point[], value: string | number, name: string, time = timeOf(entry)): void => {
    const number = Number(value);
    if (value !== '' && !Number.isNaN(number) && !Number.isNaN(time)) list.push({ time, value: number, source, name });
  };
  const vitals = objectAt(entry, 'vitals');
  const set = objectAt(entry, 'breathingExerciser');
  const apart = isApart(course.document, entry);
  if (set) {
    out.counted.push({ time: timeOf(entry, true), apart,
      breaths: Number(numberAt(set, 'breaths') || '0') || listAt(set, 'repetition').length });
  }
  if (apart) {
    put(out.reported, amountAt(vitals, 'saturation'), 'By the patient');
    listAt(set, 'repetition').forEach((one) => put(out.reportedBest, amountAt(one, 'volume'), 'By the patient', timeOf(entry, true)));
    return;
  }
  put(out.saturation, amountAt(vitals, 'saturation'), describe(entry));
  put(out.flow, oxygenFlow(objectAt(vitals, 'oxygen')), 'Oxygen');
  put(out.flow, oxygenFlow(objectAt(objectAt(entry, 'oxygenStep'), 'to')), 'Oxygen step');
  for (const [time, value] of samples(objectAt(objectAt(entry, 'oximetrySeries'), 'saturation'), timeOf(entry))) {
    put(out.saturation, value, 'Series', time);
  }
  // The breaths of a set have one time; a millisecond apart they are points of their own.
  listAt(set, 'repetition').forEach((one, i) => {
    put(out.breaths, amountAt(one, 'volume'), 'Breath', timeOf(entry, true) + i);
  });
  const rating = objectAt(entry, 'rating');
  put(out.breathlessness, numberAt(rating, 'breathlessness'), 'Breathlessness, Borg 0 to 10');
  put(out.exertion, numberAt(rating, 'exertion'), 'Exertion, Borg 6 to 20');
  put(out.pain, numberAt(objectAt(entry, 'pain'), 'score') || amountAt(objectAt(entry, 'pain'), 'score'), 'Pain');
  const care = objectAt(entry, 'selfCare');
  const content = care ?? objectAt(entry, 'transfer') ?? objectAt(entry, 'walk') ?? objectAt(entry, 'positioning');
  const help = textAt(content, 'help');
  const id = textAt(entry, 'id');
  const event = findingOf(course, 'desaturation-event', id);
  if (content && (help || care)) {
    put(out.lowest, amountAt(care, 'saturationLowest'), `Lowest in ${activityName(entry)}`);
    put(out.flow, oxygenFlow(objectAt(care, 'oxygen')), 'Oxygen');
    out.activities.push({
      time: timeOf(entry), name: activityName(entry), before: amountAt(care, 'saturationBefore'),
      lowest: amountAt(care, 'saturationLowest'), after: amountAt(care, 'saturationAfter'),
      recovery: findingText(findingOf(course, 'recovery-time', id)), help, fell: event !== undefined, source });
  }
  if (event) {
    put(out.events, amountAt(care, 'saturationLowest') || amountAt(vitals, 'saturation')
      || amountAt(listAt(event, 'part').find((one) => textAt(one, 'code') === 'nadir'), 'value'), 'Fall from rest');
  }
}

// Findings that rest on what nobody has looked through are none of this page.
export function isLookedThrough(course: Course): boolean {
  return !listAt(course.document, 'entry').some((entry) => isApart(course.document, entry));
}

// Findings of a whole session are drawn at its end.
function gatherFindings(out: Gathered, course: Course): void {
  const entries = listAt(course.document, 'entry');
  const last = entries.at(-1);
  if (!last) return;
  const times = entries.map((one) => timeOf(one, true)).filter((one) => !Number.isNaN(one));
  const time = Math.max(...times);
  const from = (finding: JsonObject | undefined): Source => {
    const id = textAt(listAt(finding, 'derivedFrom')[0], 'entry');
    const index = entries.findIndex((one) => textAt(one, 'id') === id);
    return { course, index: index < 0 ? entries.length - 1 : index, entry: entries[index < 0 ? entries.length - 1 : index] ?? last };
  };
  const best = findingOf(course, 'best-inspired-volume');
  if (best && amountAt(best, 'value')) {
    out.best.push({ time, value: Number(amountAt(best, 'value')), source: from(best), name: 'Best of the session' });
  }
  const predicted = findingOf(course, 'predicted-inspired-volume');
  const litres = objectAt(predicted, 'value');
  if (litres && textAt(litres, 'unit') === 'L' && best) {
    out.predicted.push({ time, value: Number(numberAt(litres, 'value')) * 1000, source: from(best), name: 'Predicted' });
  }
}

export function gather(courses: Course[]): Gathered {
  const out: Gathered = {
    saturation: [], flow: [], lowest: [], breaths: [], best: [], predicted: [], breathlessness: [], exertion: [], pain: [],
    reported: [], reportedBest: [], counted: [], activities: [], events: [] };
  for (const course of courses) {
    listAt(course.document, 'entry').forEach((entry, index) => gatherEntry(out, course, entry, index));
    if (isLookedThrough(course)) gatherFindings(out, course);
  }
  for (const list of Object.values(out) as { time: number }[][]) list.sort((a, b) => a.time - b.time);
  return out;
}

// Breaths of one day by clock hour. An hour without any is "not recorded", which is not "not done".
export function hoursOf(counted: Counted[], day: number, from: number, to: number): HourOfDay[] {
  const hours = Array.from({ length: 24 }, (_, hour) => ({ hour, breaths: 0, apart: 0, waking: hour >= from && hour < to }));
  for (const one of counted) {
    const at = new Date(one.time);
    const hour = hours[at.getHours()];
    if (hour && new Date(day).toDateString() === at.toDateString()) hour[one.apart ? 'apart' : 'breaths'] += one.breaths;
  }
  return hours.filter((one) => one.waking || one.breaths > 0 || one.apart > 0);
}

export function orderOf(courses: Course[]): JsonObject | undefined {
  return courses.map((one) => objectAt(one.document, 'order')).filter(isObject).at(-1);
}
