// The sheet on one page of paper. It works without any device: a box to tick for each set of each waking hour.

import type { JSX } from 'preact';
import { kCaution } from '../words';
import { Code } from './code';
import { type SheetPlan, isOrdered, kEmergency, kNobody, rangeWords, setsOfHour, wakingHours, whatToDo } from './plan';

const kBlankRows = 14; // when no waking hours are ordered, the hour is written by hand

export function Lines(p: { lines: string[] }): JSX.Element {
  return p.lines.length === 0 ? <p>{kNobody}</p> : <ul>{p.lines.map((one) => <li key={one} dir="auto">{one}</li>)}</ul>;
}

export interface Link { address: string; until: string }

export function Paper(p: { plan: SheetPlan; day: string; link?: Link | undefined }): JSX.Element {
  const hours = wakingHours(p.plan);
  const rows: (number | undefined)[] = hours.length > 0 ? hours : Array.from({ length: kBlankRows }, () => undefined);
  const boxes = Array.from({ length: setsOfHour(p.plan) }, (_, i) => i);
  const range = rangeWords(p.plan);
  return (
    <article class="paper" aria-label="The sheet">
      <header><h1>My breathing exercises</h1>
        <p class="paper-who"><bdi>{p.plan.name}</bdi>{p.plan.facility && <> · {p.plan.facility}</>} · {p.day}</p></header>
      <div class="paper-top">
        <section><h2>What to do</h2><ul>{whatToDo(p.plan).map((one) => <li key={one}>{one}</li>)}
          {isOrdered(p.plan) && <li>Tick one box for each set, and write your best volume.</li>}</ul></section>
        {p.link && <section class="paper-link"><Code text={p.link.address} />
          <p><b>On a phone:</b> point the camera at the square, or type<br /><span class="address">{p.link.address}</span><br />
            Works until {p.link.until}. It is yours alone: do not pass it on.</p></section>}
      </div>
      {isOrdered(p.plan) && <table>
        <thead><tr><th scope="col">Hour</th><th scope="col">Sets done</th><th scope="col">Best volume, mL</th>
          <th scope="col">Oxygen reading, %, if you have an oximeter</th></tr></thead>
        <tbody>{rows.map((hour, i) => <tr key={i}>
          <th scope="row">{hour === undefined ? <span class="quiet">Write the hour</span> : `${hour} to ${hour + 1}`}</th>
          <td>{boxes.map((box) => <span class="box" key={box} />)}</td><td /><td /></tr>)}</tbody></table>}
      <div class="paper-foot">
        <section><h2>When to stop</h2><Lines lines={p.plan.stop} /></section>
        <section><h2>Whom to call</h2><Lines lines={p.plan.call} />
          {range && <p>Oxygen reading ordered for you: {range}.</p>}</section>
      </div>
      <p class="paper-last"><b>{kEmergency}</b></p>
      <p class="caution">{kCaution}</p>
    </article>
  );
}
