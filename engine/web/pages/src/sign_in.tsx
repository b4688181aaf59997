// Signing in, where the engine has a people file. Without a network the page works on; the engine is asked when it is there.

import type { JSX } from 'preact';
import { useEffect, useRef, useState } from 'preact/hooks';
import { ask, onStranger, problemsOf, sayWhy } from './engine';
import { isObject, parse, textAt } from './json';

// display: empty for a stranger. needed: the engine wants a sign-in at all.
export interface Me { needed: boolean; display: string }

const kUnasked: Me = { needed: false, display: '' };

async function whoAmI(): Promise<Me> {
  const answer = await ask('GET', '/me');
  const body = answer.status === 200 ? parse(answer.body) : undefined;
  return isObject(body) ? { needed: body['signIn'] === true, display: textAt(body, 'display') } : kUnasked;
}

// Undefined until the engine has answered, or did not.
export function useMe(): [Me | undefined, (me: Me) => void] {
  const [me, set] = useState<Me>();
  const turn = useRef(0); // an answer that was asked for before a later one, or before the sign-in, says nothing any more
  useEffect(() => {
    const look = (): void => {
      const mine = turn.current += 1;
      whoAmI().then((one) => { if (mine === turn.current) set(one); }, () => set((known) => known ?? kUnasked));
    };
    look();
    addEventListener('online', look);
    const over = onStranger(look);
    return () => {
      removeEventListener('online', look);
      over();
    };
  }, []);
  return [me, (one) => {
    turn.current += 1;
    set(one);
  }];
}

export function isStranger(me: Me | undefined): boolean {
  return me !== undefined && me.needed && me.display === '';
}

// `hint`: what a person should know before. `asksWhy`: for who does not treat and looks at records.
export function SignIn(p: { hint: string; asksWhy?: boolean; onDone: (me: Me) => void }): JSX.Element {
  const [said, say] = useState('');
  const [busy, setBusy] = useState(false);
  const name = useRef<HTMLInputElement>(null);
  const password = useRef<HTMLInputElement>(null);
  const why = useRef<HTMLInputElement>(null);
  useEffect(() => name.current?.focus(), []);
  const send = async (): Promise<void> => {
    setBusy(true);
    say('');
    try {
      const answer = await ask('POST', '/sign-in',
        JSON.stringify({ name: name.current?.value.trim(), password: password.current?.value }));
      if (answer.status === 200) {
        if (why.current) sayWhy(why.current.value.trim());
        p.onDone({ needed: true, display: textAt(parse(answer.body), 'display') });
        return;
      }
      say(problemsOf(answer)[0]?.text ?? '');
    } catch {
      say('The engine does not answer; try again in a moment.');
    }
    setBusy(false);
    if (password.current) {
      password.current.value = '';
      password.current.focus();
    }
  };
  return (
    <div role="main"><form class="sign-in" aria-labelledby="sign-in-title" onSubmit={(event) => {
      event.preventDefault();
      if (!busy) void send();
    }}>
      <h2 id="sign-in-title">Sign in</h2>
      <p class="none">{p.hint}</p>
      <label for="sign-in-name">Name</label>
      <input id="sign-in-name" ref={name} type="text" autocomplete="username" autocapitalize="none" spellcheck={false} required />
      <label for="sign-in-password">Password</label>
      <input id="sign-in-password" ref={password} type="password" autocomplete="current-password" required />
      {p.asksWhy && <label for="sign-in-why">Why you look at records today; it is written into the log</label>}
      {p.asksWhy && <input id="sign-in-why" ref={why} type="text" maxLength={120} required />}
      <p class="said" role="alert">{said}</p>
      <button type="submit" class="send" disabled={busy}>{busy ? 'Signing in …' : 'Sign in'}</button>
    </form></div>
  );
}

export function SignedIn({ me, onOut }: { me: Me; onOut: (me: Me) => void }): JSX.Element {
  const out = async (): Promise<void> => {
    const answer = await ask('POST', '/sign-out', '{}').catch(() => undefined);
    if (answer?.status === 204 || answer?.status === 401) onOut({ needed: true, display: '' });
  };
  return (
    <p class="signed-in">{me.display} is signed in.
      <button type="button" class="plain" onClick={() => void out()}>Sign out</button></p>
  );
}
