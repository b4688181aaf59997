// Who does it and why: asked before anything that is written into the log. Who is signed in need not say who; else the name
// is kept for this tab.

import type { ComponentChildren, JSX } from 'preact';
import { useContext, useState } from 'preact/hooks';
import { Dialog, TextField } from '../controls';
import type { Json } from '../json';
import { SignedInAs } from '../sign_in';
import { told } from './asking';

const kName = 'desk-name';

export interface Act {
  title: string;
  of?: string; // what it is done to, where the title does not say
  path: string; // POSTed with {"actor","why"} and `more`
  more?: Record<string, unknown>;
  explain: ComponentChildren;
  button: string;
  system?: string; // of a patient's identifier: another patient is asked for, and sent as `to`
  stay?: string; // with it: the system of a stay's identifier; the stay and the new session's identifier may be given too
}

export function WhoDialog(p: { act: Act; onDone: (answer: Json | undefined) => void; onClose: () => void }): JSX.Element {
  const { display } = useContext(SignedInAs);
  const [actor, setActor] = useState(sessionStorage.getItem(kName) ?? '');
  const [why, setWhy] = useState('');
  const [to, setTo] = useState({ system: p.act.system ?? '', value: '' });
  const [stay, setStay] = useState({ system: p.act.stay ?? '', value: '' });
  const [as, setAs] = useState('');
  const [said, say] = useState('');
  const [busy, setBusy] = useState(false);
  const named = p.act.system === undefined || (to.system.trim() !== '' && to.value.trim() !== '');
  const ready = (display !== '' || actor.trim() !== '') && why.trim() !== '' && named && !busy;
  const go = async (): Promise<void> => {
    setBusy(true);
    const who = display === '' ? { actor: actor.trim() } : {};
    if (who.actor) sessionStorage.setItem(kName, who.actor);
    const answer = await told('POST', p.act.path, JSON.stringify({ ...p.act.more, ...who, why: why.trim(),
      ...(p.act.system !== undefined && { to: { system: to.system.trim(), value: to.value.trim() } }),
      ...(stay.value.trim() !== '' && { encounter: { system: stay.system.trim(), value: stay.value.trim() } }),
      ...(as.trim() !== '' && { as: as.trim() }) }));
    setBusy(false);
    if (answer.problem) {
      say(answer.problem);
      return;
    }
    p.onDone(answer.value);
  };
  return (
    <Dialog title={p.act.title} onClose={p.onClose}>
      {p.act.of && <p><b>{p.act.of}</b></p>}
      <p>{p.act.explain}</p>
      {p.act.system !== undefined && <>
        <TextField label="Right patient, identifier: system" value={to.system} onValue={(system) => setTo({ ...to, system })} />
        <TextField label="Right patient, identifier: value" value={to.value} onValue={(value) => setTo({ ...to, value })} />
        <details class="search"><summary>Their stay, and the new session’s identifier</summary>
          <p class="none">Both may be left out: a later revision may bring the stay, and the identifier is then the old
            one and “-moved”.</p>
          <TextField label="Stay, identifier: system" value={stay.system} onValue={(system) => setStay({ ...stay, system })} />
          <TextField label="Stay, identifier: value" value={stay.value} onValue={(value) => setStay({ ...stay, value })} />
          <TextField label="Identifier of the new session" value={as} onValue={setAs} /></details></>}
      {display === '' && <TextField label="Your name" value={actor} onValue={setActor} />}
      <TextField label="Why" value={why} onValue={setWhy} />
      <p class="none">{display === '' ? 'Both are written into the log.' : <>Written into the log, with your name: <bdi>{display}</bdi>.</>}</p>
      <p role="alert">{said && <span class="judged refuse">{said}</span>}</p>
      <div class="row end">
        <button type="button" class="send" disabled={!ready} onClick={() => void go()}>{p.act.button}</button>
      </div>
    </Dialog>
  );
}
