// What stands behind a point of a chart: the entry as it was recorded, and the resources that were made of it.

import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import { ago } from '../clock';
import { Dialog } from '../controls';
import { Lineage, summaryOf } from '../desk/lineage';
import { ask, problemsOf } from '../engine';
import { type Json, isObject, listAt, objectAt, parse, textAt } from '../json';
import { describe, kindWords } from '../round/describe';
import { timesOf } from '../session';
import { kStands } from '../words';
import type { Source } from './gather';

interface Made { summary: string; location: string; target: string }

// From the message: the entry's place in the document leads by the lineage to resources, and those to where they landed.
async function resourcesOf(source: Source): Promise<Made[] | string> {
  const answer = await ask('GET', `/sessions/${source.course.session}/revisions/${source.course.revision}`);
  if (answer.status !== 200) return problemsOf(answer)[0]?.text ?? '';
  const out: Made[] = [];
  for (const target of listAt(parse(answer.body), 'targets')) {
    const lineage = new Lineage(objectAt(target, 'lineage'));
    const entries: Json[] = listAt(objectAt(target, 'bundle'), 'entry');
    const landing = listAt(target, 'landing');
    const at = new Set(lineage.from(`/entry/${source.index}`).map((one) => Number(/^\/entry\/(\d+)/.exec(one)?.[1] ?? -1)));
    for (const index of [...at].filter((one) => one >= 0).sort((a, b) => a - b)) {
      const entry = entries[index];
      out.push({ summary: summaryOf(isObject(entry) ? entry['resource'] : undefined), target: textAt(target, 'target'),
        location: textAt(landing[index], 'location') });
    }
  }
  return out;
}

export function Opened(p: { source: Source; onClose: () => void }): JSX.Element {
  const [made, setMade] = useState<Made[] | string>();
  const { entry, course } = p.source;
  const by = objectAt(entry, 'recordedBy') ?? objectAt(course.document, 'therapist');
  return (
    <Dialog title={kindWords(entry)} onClose={p.onClose}>
      <p>{describe(entry)}</p>
      {textAt(entry, 'comment') && <p dir="auto">“{textAt(entry, 'comment')}”</p>}
      <p class="none">{ago(timesOf(entry).start)}, by <bdi>{textAt(by, 'display') || textAt(by, 'role')}</bdi>. {kStands[course.stand] ?? course.stand}.</p>
      {made === undefined && <div class="row"><button type="button" class="chip"
        onClick={() => void resourcesOf(p.source).then(setMade, () => setMade('The engine does not answer.'))}>Show its resources</button></div>}
      {typeof made === 'string' && <p class="judged refuse" role="alert">{made}</p>}
      {Array.isArray(made) && <div role="status"><ul class="made">{made.map((one, i) => (
        <li key={i}>{one.summary} {one.location ? <code>{one.location}</code> : <span class="none">not in the chart yet</span>}
          <span class="none"> {one.target}</span></li>))}
        {made.length === 0 && <li class="none">No lineage leads from this entry to a resource.</li>}</ul></div>}
    </Dialog>
  );
}
