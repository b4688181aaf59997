// How a patient does: what a therapist, a nurse or a physician reads in a few seconds, and prints on a page.

import type { JSX } from 'preact';
import { useEffect, useMemo, useState } from 'preact/hooks';
import { clockText, dayOf, now } from '../clock';
import { dryRun } from '../engine';
import { amountAt, listAt, numberAt, objectAt, textAt } from '../json';
import { Plan } from '../round/plan';
import { type Known, history } from '../round/last';
import type { Patient } from '../ward';
import { Chart, type Line } from './chart';
import { type Counted, type Course, type Gathered, type Point, type Source, findingOf, findingText, gather, helpRank, helpWords, hoursOf, isLookedThrough, orderOf } from './gather';
import { Opened } from './point';

const kDay = 86_400_000;
const kSpans: [number, string][] = [[1, 'Today'], [3, '3 days'], [7, '7 days'], [30, '30 days']];
const kAtOnce = 4;

// The findings of a session, as the engine computes them of the document that it has.
async function courseOf(known: Known): Promise<Course> {
  const answer = await dryRun(known.text);
  return { session: known.session, revision: numberAt(known.document, 'revision'), stand: known.stand, document: known.document,
    findings: answer?.findings ?? [] };
}

function useCourses(patient: Patient): { courses: Course[] | undefined; problem: string } {
  const [told, tell] = useState<{ courses: Course[] | undefined; problem: string }>({ courses: undefined, problem: '' });
  useEffect(() => {
    let here = true;
    const load = async (): Promise<void> => {
      const known = await history(patient);
      const courses: Course[] = [];
      for (let i = 0; i < known.length && here; i += kAtOnce) {
        courses.push(...await Promise.all(known.slice(i, i + kAtOnce).map(courseOf)));
        if (here) tell({ courses: [...courses].reverse(), problem: '' });
      }
      if (here && known.length === 0) tell({ courses: [], problem: '' });
    };
    load().catch(() => { if (here) tell((old) => ({ ...old, problem: 'The engine does not answer. Progress is read from it.' })); });
    return () => { here = false; };
  }, [patient.key]);
  return told;
}

interface Figure { label: string; value: string; note: string }

function figuresOf(courses: Course[], all: Gathered): Figure[] {
  courses = courses.filter(isLookedThrough);
  const last = courses.at(-1);
  const reading = all.saturation.at(-1);
  const flow = all.flow.at(-1);
  const out: Figure[] = [];
  if (reading) {
    out.push({ label: 'Saturation', value: `${reading.value} %`,
      note: flow ? (flow.value === 0 ? 'on room air' : `on ${flow.value} L/min`) : '' });
  }
  if (!last) return out;
  const finding = (label: string, code: string, note: (course: Course) => string): void => {
    const course = [...courses].reverse().find((one) => findingText(findingOf(one, code)) !== '');
    if (course) out.push({ label, value: findingText(findingOf(course, code)), note: note(course) });
  };
  const trend = (course: Course, code: string): string => {
    const change = objectAt(findingOf(course, code), 'value');
    const value = numberAt(change, 'value');
    return value ? `${Number(value) > 0 ? '+' : ''}${value} ${textAt(change, 'unit')} since the session before` : '';
  };
  finding('Lowest of the last session', 'lowest-saturation', (course) => trend(course, 'saturation-trend'));
  finding('Best inspired volume', 'best-inspired-volume', (course) =>
    [findingText(findingOf(course, 'percent-of-goal')) && `${findingText(findingOf(course, 'percent-of-goal'))} of the goal`, trend(course, 'volume-trend')]
      .filter((one) => one !== '').join(', '));
  finding('Ordered breaths done', 'adherence', (course) => {
    const part = (code: string): string => amountAt(listAt(findingOf(course, 'adherence'), 'part').find((one) => textAt(one, 'code') === code), 'value');
    return part('hours-waking') ? `${part('hours-met')} of ${part('hours-waking')} waking hours met` : '';
  });
  return out;
}

function Hours(p: { counted: Counted[]; order: ReturnType<typeof orderOf>; day: number }): JSX.Element | null {
  const breathing = objectAt(p.order, 'breathing');
  const ordered = Number(numberAt(breathing, 'breathsPerSet') || '0') * Number(numberAt(breathing, 'setsPerHour') || '0');
  const hour = (name: string): number => Number(textAt(breathing, name).slice(0, 2) || '0');
  const hours = hoursOf(p.counted, p.day, hour('wakingFrom'), hour('wakingTo'));
  if (hours.length === 0) return null;
  return (
    <section class="hours"><h2>Breaths by hour, {dayOf(p.day)}</h2>
      <ol>{hours.map((one) => {
        const met = ordered > 0 && one.breaths >= ordered;
        if (one.breaths === 0 && one.apart > 0) {
          return <li key={one.hour} class="is-apart"><span class="hour">{String(one.hour).padStart(2, '0')}</span><i>{one.apart}</i>
            <span class="quiet">by the patient, not looked through</span></li>;
        }
        return <li key={one.hour} class={one.breaths === 0 ? 'is-none' : met ? 'is-met' : 'is-some'}>
          <span class="hour">{String(one.hour).padStart(2, '0')}</span>
          <b>{one.breaths === 0 ? '–' : one.breaths}</b>{one.apart > 0 && <i aria-label={`and ${one.apart} by the patient, not looked through`}>+{one.apart}</i>}
          <span class="quiet">{one.breaths === 0 ? 'not recorded' : met ? 'as ordered' : ordered > 0 ? `of ${ordered}` : ''}</span></li>;
      })}</ol>
      <p class="none">{ordered > 0 && `Ordered: ${ordered} breaths an hour. `}– is not recorded, which is not the same as not done.{hours.some((one) => one.apart > 0) && ' Slanted: reported by the patient and not looked through yet.'}</p>
    </section>
  );
}

function Help(p: { all: Gathered; onOpen: (source: Source) => void }): JSX.Element | null {
  const days = [...new Set(p.all.activities.map((one) => dayOf(one.time)))].reverse();
  const names = [...new Set(p.all.activities.map((one) => one.name))];
  if (names.length === 0) return null;
  return (
    <section><h2>Activities</h2>
      <div class="wide"><table class="list"><caption class="quiet">Level of help, and saturation before, lowest and after</caption>
        <thead><tr><th scope="col">Activity</th>{days.map((day) => <th scope="col" key={day}>{day.slice(5)}</th>)}</tr></thead>
        <tbody>{names.map((name) => <tr key={name}><th scope="row">{name}</th>{days.map((day) => (
          <td key={day}>{p.all.activities.filter((one) => one.name === name && dayOf(one.time) === day).map((one, i) => (
            <button type="button" key={i} class={`did ${one.fell ? 'fell' : ''}`} onClick={() => p.onOpen(one.source)}>
              {one.help && <b title={helpWords(one.help)}>{helpRank(one.help) >= 0 ? helpWords(one.help) : one.help}</b>}
              {(one.before || one.lowest || one.after) && <span class="trio">{one.before || '·'} → {one.lowest || '·'} → {one.after || '·'} %</span>}
              {one.recovery && one.recovery !== 'not determined' && <span class="none">back in {one.recovery}</span>}
              {one.fell && <span class="fell-word">fall from rest</span>}
              <span class="none">{clockText(one.time)}</span></button>))}</td>))}</tr>)}</tbody></table></div>
    </section>
  );
}

function extent(points: Point[], low: number, high: number, step: number): [number, number] {
  const values = points.map((one) => one.value);
  return [Math.min(low, Math.floor(Math.min(...values, low) / step) * step), Math.max(high, Math.ceil(Math.max(...values, high) / step) * step)];
}

// A line of its own in the key, only when there is something in it.
function apart(points: Point[], unit: string): Line[] {
  return points.length === 0 ? [] : [{ label: 'By the patient, not looked through', unit, points, colour: '--soft', shape: 'dots' }];
}

function useLines(all: Gathered): Record<'saturation' | 'flow' | 'volume' | 'rating', Line[]> {
  return useMemo(() => ({
    saturation: [
      { label: 'Reading', unit: '%', points: all.saturation, colour: '--sea', shape: 'dots' },
      { label: 'Lowest in an activity', unit: '%', points: all.lowest, colour: '--ask-edge', shape: 'dots' },
      { label: 'Fall from rest', unit: '%', points: all.events, colour: '--stop-edge', shape: 'marks' },
      ...apart(all.reported, '%')],
    flow: [{ label: '', unit: 'L/min', points: all.flow, colour: '--sea', shape: 'steps' }],
    volume: [
      { label: 'Breath', unit: 'mL', points: all.breaths, colour: '--edge', shape: 'dots', still: true },
      { label: 'Best of the session', unit: 'mL', points: all.best, colour: '--sea', shape: 'line' },
      { label: 'Predicted', unit: 'mL', points: all.predicted, colour: '--soft', shape: 'line', still: true },
      ...apart(all.reportedBest, 'mL')],
    rating: [
      { label: 'Breathlessness', unit: 'of 10', points: all.breathlessness, colour: '--sea', shape: 'dots' },
      { label: 'Exertion', unit: 'of 20', points: all.exertion, colour: '--ask-edge', shape: 'dots' },
      { label: 'Pain', unit: 'of 10', points: all.pain, colour: '--stop-edge', shape: 'dots' }],
  }), [all]);
}

export function Progress(p: { patient: Patient }): JSX.Element {
  const { courses, problem } = useCourses(p.patient);
  const [days, setDays] = useState(3);
  const [opened, open] = useState<Source>();
  const all = useMemo(() => gather(courses ?? []), [courses]);
  const figures = useMemo(() => figuresOf(courses ?? [], all), [courses, all]);
  const lines = useLines(all);
  const order = objectAt(p.patient.frame, 'order') ?? orderOf(courses ?? []);
  const range = objectAt(order, 'saturationTarget');
  const zone = range && { low: Number(amountAt(range, 'low')) || undefined, high: Number(amountAt(range, 'high')) || undefined };
  const goal = Number(amountAt(objectAt(order, 'breathing'), 'volumeGoal'));
  // Whole days, so that the charts of today do not creep while they are read.
  const to = useMemo(() => new Date(now()).setHours(24, 0, 0, 0), [days]);
  const from = to - days * kDay;
  const within = (points: Point[]): boolean => points.some((one) => one.time >= from && one.time <= to);
  const [low, high] = extent([...all.saturation, ...all.lowest, ...all.reported], 84, 100, 2);
  const [, most] = extent(all.flow, 0, 4, 2);
  const [, largest] = extent([...all.breaths, ...all.best, ...all.predicted, ...all.reportedBest], 0, Math.max(1000, goal || 0), 500);
  const shared = { from, to, onOpen: open };
  const empty = courses !== undefined && courses.length === 0;
  return (
    <section class="progress" aria-label="Progress">
      <Plan patient={p.patient} order={order} />
      <div class="spans" role="group" aria-label="Time shown">{kSpans.map(([one, label]) => (
        <button type="button" class="chip" key={one} aria-pressed={days === one} onClick={() => setDays(one)}>{label}</button>))}
        <button type="button" class="plain" onClick={() => window.print()}>Print</button></div>
      {problem && <p class="banner" role="alert">{problem}</p>}
      {courses === undefined && !problem && <p class="opening">Opening …</p>}
      {empty && <p class="none">Nothing has been recorded for this patient yet.</p>}
      {figures.length > 0 && <dl class="figures">{figures.map((one) => (
        <div key={one.label}><dt>{one.label}</dt><dd>{one.value}{one.note && <small>{one.note}</small>}</dd></div>))}</dl>}
      <div class="charts">
        {within([...all.saturation, ...all.lowest, ...all.reported]) && <Chart {...shared} title="Saturation, %" lines={lines.saturation} low={low} high={high} height={210} zone={zone} />}
        {within(all.flow) && <Chart {...shared} title="Oxygen flow, L/min (0: room air)" lines={lines.flow} low={0} high={most} height={110} />}
        {within([...all.breaths, ...all.best, ...all.reportedBest]) && <Chart {...shared} title="Inspired volume, mL" lines={lines.volume} low={0} high={largest} height={190}
          level={goal ? { value: goal, label: `goal ${goal} mL` } : undefined} />}
        {within([...all.breathlessness, ...all.exertion, ...all.pain]) && <Chart {...shared} title="Ratings" lines={lines.rating} low={0} high={20} height={150} />}
      </div>
      {courses && !empty && <Hours counted={all.counted} order={order} day={now()} />}
      {courses && <Help all={all} onOpen={open} />}
      <p class="printed">As the journal had it on {dayOf(now())} at {clockText(now())}.</p>
      {opened && <Opened source={opened} onClose={() => open(undefined)} />}
    </section>
  );
}
