// Cards with a clock: an activity with its saturations and level of help, a position held, and the stopwatch of recovery.

import type { JSX } from 'preact';
import { lasted, now } from '../clock';
import { Choice, NumberField, Select } from '../controls';
import { useNow } from '../hooks';
import { options } from '../words';
import { type CardProps, Sheet, fieldOf, zonesOf } from './cards';
import { isSelfCare } from './entries';

const kHelpTried = options('help').filter(([code]) => /^0[1-6]$/.test(code));
const kHelpNot = options('help').filter(([code]) => !/^0[1-6]$/.test(code));
const kActivities: [string, string][] = [...options('transfer'), ['walk', 'Walking'], ...options('self-care')];
// What an ordinary round meets; everything else is in the list.
const kUsual = ['lying-to-sitting', 'sit-to-stand', 'bed-to-chair', 'walk', 'upper-body-dressing', 'oral-hygiene'];

function Help(p: { value: string; onValue: (code: string) => void; whole: boolean }): JSX.Element {
  const shown = [...kHelpTried, ...kHelpNot].find(([code]) => code === p.value);
  return (
    <>
      <div class="choice" role="group" aria-label="Level of help">
        <span class="choice-label">Level of help{shown ? `: ${shown[1].toLocaleLowerCase()}` : ', 6 alone to 1 all'}</span>
        <div class="chips short">{kHelpTried.map(([code, text]) => (
          <button type="button" class="chip" key={code} aria-pressed={p.value === code} aria-label={`${Number(code)}: ${text}`}
            onClick={() => p.onValue(p.value === code ? '' : code)}>{Number(code)}</button>))}</div>
      </div>
      {p.whole && <Select label="Or not tried" options={kHelpNot} empty="it was tried"
        value={kHelpNot.some(([code]) => code === p.value) ? p.value : ''} onValue={p.onValue} />}
    </>
  );
}

export function ActivityCard(p: CardProps & { onEffortEnd: () => void }): JSX.Element {
  const { activity } = p.draft;
  const running = activity.from > 0 && activity.to === 0;
  const time = useNow(running);
  const zone = zonesOf(p.order).saturation;
  const tried = !kHelpNot.some(([code]) => code === activity.help);
  const saturation = (field: 'before' | 'lowest' | 'after', label: string): JSX.Element => (
    <NumberField {...fieldOf(p, 'activity', field)} label={label} unit="%" value={activity[field]}
      start={Number(p.draft.vitals.saturation || p.last.saturation || 95)} zone={zone} scale={[80, 100]}
      onValue={(text) => p.put('activity', { [field]: text })} />
  );
  return (
    <Sheet {...p} card="activity" title="Activity">
      <Choice label="Which" options={kActivities.filter(([code]) => kUsual.includes(code))} value={activity.what}
        onValue={(what) => p.put('activity', { what })} />
      <Select label="Or another" options={kActivities} value={activity.what} onValue={(what) => p.put('activity', { what })} />
      <Help whole={activity.what !== '' && isSelfCare(activity.what)} value={activity.help}
        onValue={(help) => p.put('activity', { help })} />
      {activity.what !== '' && tried && <>
        <div class="row clock">
          <span class="stopwatch" role="timer" aria-label="Effort">
            {activity.from > 0 ? lasted((running ? time : activity.to) - activity.from) : '0:00'}</span>
          {!running && <button type="button" class="chip wide" onClick={() => p.put('activity', { from: now(), to: 0 })}>
            {activity.to > 0 ? 'Start again' : 'Effort begins'}</button>}
          {running && <button type="button" class="chip wide" onClick={() => {
            p.put('activity', { to: now() });
            p.onEffortEnd();
          }}>Effort ends</button>}
        </div>
        {saturation('before', 'Saturation before')}
        {saturation('lowest', 'Lowest')}
        {saturation('after', 'After')}
        {activity.what === 'walk' && <NumberField {...fieldOf(p, 'activity', 'distance')} label="Distance" unit="m"
          value={activity.distance} step={5} start={20} onValue={(distance) => p.put('activity', { distance })} />}
      </>}
    </Sheet>
  );
}

export function PositionCard(p: CardProps): JSX.Element {
  const { position } = p.draft;
  const running = position.from > 0 && position.to === 0;
  const time = useNow(running);
  return (
    <Sheet {...p} card="position" title="Position">
      <Choice label="Position" options={options('position')} value={position.position}
        onValue={(one) => p.put('position', { position: one })} />
      {position.position !== '' && <>
        <div class="row clock">
          <span class="stopwatch" role="timer" aria-label="In this position">
            {position.from > 0 ? lasted((running ? time : position.to) - position.from) : '0:00'}</span>
          {!running && <button type="button" class="chip wide" onClick={() => p.put('position', { from: now(), to: 0 })}>
            Start the timer</button>}
          {running && <button type="button" class="chip wide" onClick={() => p.put('position', { to: now() })}>Stop</button>}
        </div>
        <Help whole={false} value={position.help} onValue={(help) => p.put('position', { help })} />
      </>}
    </Sheet>
  );
}

// Runs from the end of effort. The engine computes the recovery from the times of the readings; this is for the eye.
export function Recovery(p: { since: number; onReading: () => void; onEnd: () => void }): JSX.Element {
  const time = useNow(true);
  return (
    <div class="recovery" role="group" aria-label="Recovery after effort">
      <span>Recovering</span>
      <span class="stopwatch" role="timer">{lasted(time - p.since)}</span>
      <button type="button" class="chip wide" onClick={p.onReading}>Take a reading</button>
      <button type="button" class="plain" onClick={p.onEnd}>End</button>
    </div>
  );
}
