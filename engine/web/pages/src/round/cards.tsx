// The cards of a round: readings, exerciser, pressure sets, ratings, fluids, teaching, note. Activity and position, which
// have clocks of their own, are in timed_cards.tsx.

import type { ComponentChildren, JSX } from 'preact';
import { useState } from 'preact/hooks';
import { ago, atClock, clockText, now } from '../clock';
import { Choice, NumberField, Ruler, Select, TextField, type Zone } from '../controls';
import { type JsonObject, amountAt, numberAt, objectAt, textAt } from '../json';
import { type Judged, type Table } from '../plausibility';
import { options, word } from '../words';
import { type Card, type Draft, confirmation, emptyDraft, isConfirmed, isTouched } from './draft';
import { judgeField, kNoteMax } from './entries';
import type { Last } from './last';

export interface CardProps {
  draft: Draft;
  // Changes a card; the first change notes its time.
  put: <C extends Card>(card: C, change: Partial<Draft[C]>) => void;
  set: (draft: Draft) => void;
  table: Table | undefined;
  order: JsonObject | undefined;
  last: Last;
  anchors: JsonObject | undefined; // the site's words for the numbers of a rating
  said: (card: Card, field: string) => { text: string; asks: boolean } | undefined;
}

export function Sheet(p: CardProps & { card: Card; title: string; children: ComponentChildren }): JSX.Element {
  const [editing, edit] = useState(false);
  const touched = isTouched(p.draft, p.card);
  const time = p.draft.times[p.card] ?? 0;
  const said = p.said(p.card, '');
  const change = (text: string): void => {
    const at = atClock(text, now());
    if (!Number.isNaN(at)) p.set({ ...p.draft, times: { ...p.draft.times, [p.card]: at } });
    edit(false);
  };
  return (
    <section class={`sheet ${touched ? 'touched' : ''}`} aria-labelledby={`title-${p.card}`} id={`card-${p.card}`}>
      <header>
        <h2 id={`title-${p.card}`} tabIndex={-1}>{p.title}</h2>
        {touched && time > 0 && (editing
          ? <input class="time" type="time" aria-label={`${p.title}: time`} value={clockText(time)}
              onBlur={(event) => change(event.currentTarget.value)}
              onKeyDown={(event) => { if (event.key === 'Enter') change(event.currentTarget.value); }} />
          : <button type="button" class="plain time" aria-label={`${p.title}: taken at ${clockText(time)}, change the time`}
              onClick={() => edit(true)}>{clockText(time)}</button>)}
        {touched && <button type="button" class="plain" aria-label={`${p.title}: clear`} onClick={() => clear(p)}>Clear</button>}
      </header>
      {p.children}
      <div class="said" aria-live="polite">{said && <p class={`judged ${said.asks ? 'confirm' : 'note'}`}>{said.text}
        {said.asks && <button type="button" class="confirm" onClick={() => standBy(p, p.card)}>It is right</button>}</p>}</div>
    </section>
  );
}

function clear(p: CardProps & { card: Card }): void {
  const { [p.card]: _, ...times } = p.draft.times;
  p.set({ ...p.draft, [p.card]: emptyDraft()[p.card], times });
}

function standBy(p: CardProps, card: Card): void {
  p.set({ ...p.draft, confirmed: { ...p.draft.confirmed, [card]: confirmation(p.draft, card) } });
}

// What a number field needs of its card. What the table leaves open the engine may still ask or remark.
export function fieldOf(p: CardProps, card: Card, field: string): {
  judged: Judged; confirmed: boolean; onConfirm: () => void; said: string | undefined;
} {
  const judged = judgeField(p.table, p.draft, card, field);
  const said = p.said(card, field);
  const asked = judged.grade === 'good' && said?.asks === true;
  return {
    judged: asked ? { grade: 'confirm', text: said.text } : judged,
    confirmed: isConfirmed(p.draft, card),
    onConfirm: () => standBy(p, card),
    said: asked ? undefined : said?.text,
  };
}

// Whole numbers around one, at most `high`.
function around(middle: number, count: number, step: number, low: number, high: number): number[] {
  const first = Math.max(low, Math.min(high - (count - 1) * step, middle - Math.floor(count / 2) * step));
  return Array.from({ length: count }, (_, i) => first + i * step);
}

const number = (text: string | undefined): number | undefined => (text ? Number(text) : undefined);

type Zones = Record<'saturation' | 'flow' | 'pulse' | 'breathingRate', Zone | undefined>;

// The ordered ranges.
export function zonesOf(order: JsonObject | undefined): Zones {
  const target = objectAt(order, 'saturationTarget');
  const limits = objectAt(order, 'limits');
  const zone = (low: string, high: string): Zone | undefined =>
    low || high ? { low: number(low), high: number(high) } : undefined;
  return {
    saturation: zone(amountAt(target, 'low'), amountAt(target, 'high')),
    flow: zone('', amountAt(objectAt(order, 'oxygen'), 'flowMax')),
    pulse: zone('', amountAt(limits, 'pulseMax')),
    breathingRate: zone('', amountAt(limits, 'breathingRateMax')),
  };
}

const kFlows: Record<string, number[]> = {
  'nasal-cannula': [0.5, 1, 1.5, 2, 3, 4, 6],
  'high-flow-cannula': [20, 30, 35, 40, 45, 50, 60],
};

export function VitalsCard(p: CardProps): JSX.Element {
  const { vitals } = p.draft;
  const zones = zonesOf(p.order);
  const middle = Math.round(Number(p.last.saturation || zones.saturation?.low || 95));
  const before = p.last.device ? `${word(p.last.device)}${p.last.flow ? `, ${p.last.flow} L/min` : ''}` : '';
  const told = [p.last.saturation && `${p.last.saturation} %`, before.toLowerCase(), p.last.pulse && `pulse ${p.last.pulse}`,
    p.last.at && ago(p.last.at)].filter((one) => one).join(', ');
  const same = p.last.device === vitals.device && (p.last.flow ?? '') === vitals.flow && vitals.device !== '';
  return (
    <Sheet {...p} card="vitals" title="Readings">
      {told !== '' && <p class="none">Last: {told}</p>}
      <Choice label="When" options={options('phase')} value={vitals.phase} short
        onValue={(phase) => p.put('vitals', { phase })} />
      <NumberField {...fieldOf(p, 'vitals', 'saturation')} label="Saturation" unit="%" value={vitals.saturation}
        last={p.last.saturation} start={middle} zone={zones.saturation} scale={[80, 100]}
        chips={around(middle, 7, 1, 50, 100)} onValue={(saturation) => p.put('vitals', { saturation })} />
      <div class="oxygen">
        {before && <button type="button" class={`chip wide ${same ? '' : 'was'}`} aria-pressed={same}
          onClick={() => p.put('vitals', { device: p.last.device ?? '', flow: p.last.flow ?? '', fraction: '' })}>
          Oxygen as before: {before}</button>}
        <Select label="Oxygen device" options={options('oxygen-device')} value={vitals.device}
          onValue={(device) => p.put('vitals', device === 'room-air' ? { device, flow: '', fraction: '' } : { device })} />
        {vitals.device !== '' && vitals.device !== 'room-air' &&
          <NumberField {...fieldOf(p, 'vitals', 'flow')} label="Oxygen flow" unit="L/min" value={vitals.flow}
            last={p.last.device === vitals.device ? p.last.flow : undefined} step={0.5} start={2} zone={zones.flow}
            scale={[0, vitals.device === 'high-flow-cannula' ? 70 : 15]} chips={kFlows[vitals.device] ?? [5, 6, 8, 10, 12, 15]}
            onValue={(flow) => p.put('vitals', { flow })} />}
        {(vitals.device === 'venturi-mask' || vitals.device === 'high-flow-cannula') &&
          <NumberField {...fieldOf(p, 'vitals', 'fraction')} label="Oxygen fraction" unit="%" value={vitals.fraction}
            start={28} chips={[24, 28, 31, 35, 40, 50, 60]} onValue={(fraction) => p.put('vitals', { fraction })} />}
      </div>
      <NumberField {...fieldOf(p, 'vitals', 'pulse')} label="Pulse" unit="/min" value={vitals.pulse} last={p.last.pulse}
        start={80} zone={zones.pulse} scale={[40, 180]} onValue={(pulse) => p.put('vitals', { pulse })} />
      <NumberField {...fieldOf(p, 'vitals', 'breathingRate')} label="Breathing rate" unit="/min"
        value={vitals.breathingRate} last={p.last.breathingRate} start={16} zone={zones.breathingRate} scale={[6, 40]}
        chips={around(Math.round(Number(p.last.breathingRate || 17)), 7, 1, 6, 50)}
        onValue={(breathingRate) => p.put('vitals', { breathingRate })} />
    </Sheet>
  );
}

// A tap on a volume is a breath of that volume; the large button is another of the same.
export function ExerciserCard(p: CardProps): JSX.Element {
  const { breaths, other, technique } = p.draft.exerciser;
  const breathing = objectAt(p.order, 'breathing');
  const goal = number(amountAt(breathing, 'volumeGoal'));
  const wanted = number(numberAt(breathing, 'breathsPerSet'));
  const best = breaths.reduce((a, b) => Math.max(a, Number(b.volume)), 0);
  const latest = breaths.at(-1)?.volume;
  const middle = Math.round((goal ?? Number(p.last.volume || 1500)) / 250) * 250;
  const add = (volume: string): void =>
    p.put('exerciser', { breaths: [...breaths, { volume, at: now() }], other: '' });
  const typed = fieldOf(p, 'exerciser', 'other');
  const held = breaths.some((one) => judgeBreath(p, one.volume).grade === 'confirm');
  return (
    <Sheet {...p} card="exerciser" title="Breathing exerciser">
      <p class="figure"><strong>{breaths.length}</strong>{wanted ? ` of ${wanted}` : ''} breaths
        {latest && <> · last <strong>{latest}</strong> · best <strong>{best}</strong> mL</>}
        {goal && latest && <> · {best >= goal ? 'goal reached' : `${goal - best} mL to the goal`}</>}
        {!latest && p.last.volume && <> · best last time {p.last.volume} mL</>}</p>
      <Ruler value={latest ?? ''} last={best > 0 ? String(best) : p.last.volume} scale={[0, Math.max(2500, (goal ?? 0) * 1.3)]}
        zone={goal ? { low: goal } : undefined} />
      <div class="chips digits large" role="group" aria-label="A breath of this volume, mL">
        {around(middle, 8, 250, 250, 5000).map((one) => (
          <button type="button" class={`chip ${one === goal ? 'goal' : ''}`} key={one}
            aria-label={`Breath of ${one} millilitres${one === goal ? ', the goal' : ''}`}
            onClick={() => add(String(one))}>{one}</button>))}
      </div>
      <button type="button" class="tap" disabled={!latest} onClick={() => latest && add(latest)}>
        {latest ? `Another breath of ${latest} mL` : 'Choose a volume for the first breath'}</button>
      <div class="row">
        <NumberField {...typed} label="Other volume" unit="mL" value={other} step={50} start={middle}
          onValue={(text) => p.put('exerciser', { other: text })} />
        <button type="button" class="plain" disabled={other.trim() === '' || typed.judged.grade === 'refuse'}
          onClick={() => add(other.trim().replace(',', '.'))}>Add</button>
        <button type="button" class="plain" disabled={breaths.length === 0}
          onClick={() => p.put('exerciser', { breaths: breaths.slice(0, -1) })}>Take back last</button>
      </div>
      {held && !typed.confirmed && other === '' && <p class="judged confirm">{judgeBreath(p, breaths.find((one) =>
        judgeBreath(p, one.volume).grade === 'confirm')?.volume ?? '').text}
        <button type="button" class="confirm" onClick={typed.onConfirm}>It is right</button></p>}
      <Choice label="Technique" options={options('technique')} value={technique} short
        onValue={(one) => p.put('exerciser', { technique: one })} />
    </Sheet>
  );
}

function judgeBreath(p: CardProps, volume: string): Judged {
  return judgeField(p.table, { ...p.draft, exerciser: { ...p.draft.exerciser, other: volume } }, 'exerciser', 'other');
}

export function PepCard(p: CardProps): JSX.Element {
  const { repetitions, pressure } = p.draft.pep;
  return (
    <Sheet {...p} card="pep" title="Expiratory pressure set">
      <p class="figure"><strong>{repetitions}</strong> breaths</p>
      <div class="row">
        <button type="button" class="tap" onClick={() => p.put('pep', { repetitions: repetitions + 1 })}>One breath</button>
        <button type="button" class="chip wide" onClick={() => p.put('pep', { repetitions: 10 })}>Set of 10</button>
        <button type="button" class="plain" disabled={repetitions === 0}
          onClick={() => p.put('pep', { repetitions: repetitions - 1 })}>One less</button>
      </div>
      <NumberField {...fieldOf(p, 'pep', 'pressure')} label="Pressure" unit="cm[H2O]" value={pressure} start={15}
        onValue={(text) => p.put('pep', { pressure: text })} />
    </Sheet>
  );
}

const scale = (table: Table | undefined, element: string): number[] => {
  const datum = table?.datum.find((one) => one.elements.includes(element));
  if (datum?.values) return datum.values;
  const bounds = datum?.refuse;
  return bounds ? Array.from({ length: bounds.high - bounds.low + 1 }, (_, i) => bounds.low + i) : [];
};

export function RatingCard(p: CardProps): JSX.Element {
  const { breathlessness, exertion } = p.draft.rating;
  const row = (values: number[]): [string, string][] => values.map((one) => [String(one), String(one)]);
  const words = (scale: string, value: string): JSX.Element | null => {
    const said = textAt(objectAt(p.anchors, scale), value);
    return said ? <p class="none" role="status">{value}: {said}</p> : null;
  };
  return (
    <Sheet {...p} card="rating" title="The patient's rating">
      <Choice label="Breathlessness, Borg 0 to 10" short options={row(scale(p.table, 'entry.rating.breathlessness'))}
        value={breathlessness} onValue={(one) => p.put('rating', { breathlessness: one })} />
      {words('breathlessness', breathlessness)}
      <Choice label="Exertion, Borg 6 to 20" short options={row(scale(p.table, 'entry.rating.exertion'))} value={exertion}
        onValue={(one) => p.put('rating', { exertion: one })} />
      {words('exertion', exertion)}
    </Sheet>
  );
}

export function FluidsCard(p: CardProps): JSX.Element {
  const { volume, what } = p.draft.fluids;
  return (
    <Sheet {...p} card="fluids" title="Fluids taken">
      <NumberField {...fieldOf(p, 'fluids', 'volume')} label="How much" unit="mL" value={volume} step={50} start={150}
        chips={[50, 100, 150, 200, 250, 300]} onValue={(text) => p.put('fluids', { volume: text })} />
      <TextField label="What" value={what} onValue={(text) => p.put('fluids', { what: text })} suggestions={['Water', 'Tea']} />
    </Sheet>
  );
}

const kTopics = ['Ten slow breaths every waking hour', 'Splinting the wound to cough', 'Pacing and rests', 'When to stop and call'];

export function TeachingCard(p: CardProps): JSX.Element {
  const { topic, learner, teachBack } = p.draft.teaching;
  const toggle = (code: string): void =>
    p.put('teaching', { learner: learner.includes(code) ? learner.filter((one) => one !== code) : [...learner, code] });
  return (
    <Sheet {...p} card="teaching" title="Teaching">
      <TextField label="What was taught" value={topic} suggestions={kTopics}
        onValue={(text) => p.put('teaching', { topic: text })} />
      <div class="choice" role="group" aria-label="Who was taught"><span class="choice-label">Who was taught</span>
        <div class="chips wordy">{options('learner').map(([code, text]) => (
          <button type="button" class="chip" key={code} aria-pressed={learner.includes(code)}
            onClick={() => toggle(code)}>{text}</button>))}</div></div>
      <Choice label="Shown back" options={options('teach-back')} value={teachBack}
        onValue={(one) => p.put('teaching', { teachBack: one })} />
    </Sheet>
  );
}

export function NoteCard(p: CardProps): JSX.Element {
  return (
    <Sheet {...p} card="note" title="Note">
      <TextField label="In your words" lines={3} value={p.draft.note.text} max={kNoteMax}
        onValue={(text) => p.put('note', { text })} />
    </Sheet>
  );
}
