// Who does it and why: asked before anything that is written into the log. The name is kept for this tab only.

import type { ComponentChildren, JSX } from 'preact';
import { useState } from 'preact/hooks';
import { Dialog, TextField } from '../controls';
import { told } from './asking';

const kName = 'desk-name';

export interface Act {
  title: string;
  path: string; // POSTed with {"actor","why"} and `more`
  more?: Record<string, unknown>;
  explain: ComponentChildren;
  button: string;
}

export function WhoDialog(p: { act: Act; onDone: () => void; onClose: () => void }): JSX.Element {
  const [actor, setActor] = useState(sessionStorage.getItem(kName) ?? '');
  const [why, setWhy] = useState('');
  const [said, say] = useState('');
  const [busy, setBusy] = useState(false);
  const ready = actor.trim() !== '' && why.trim() !== '' && !busy;
  const go = async (): Promise<void> => {
    setBusy(true);
    sessionStorage.setItem(kName, actor.trim());
    const answer = await told('POST', p.act.path, JSON.stringify({ ...p.act.more, actor: actor.trim(), why: why.trim() }));
    setBusy(false);
    if (answer.problem) {
      say(answer.problem);
      return;
    }
    p.onDone();
  };
  return (
    <Dialog title={p.act.title} onClose={p.onClose}>
      <p>{p.act.explain}</p>
      <TextField label="Your name" value={actor} onValue={setActor} />
      <TextField label="Why" value={why} onValue={setWhy} />
      <p class="none">Both are written into the log.</p>
      <p role="alert">{said && <span class="judged refuse">{said}</span>}</p>
      <div class="row end">
        <button type="button" class="send" disabled={!ready} onClick={() => void go()}>{p.act.button}</button>
      </div>
    </Dialog>
  );
}
