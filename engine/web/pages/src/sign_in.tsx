// Signing in, where the engine has a people file. Without a network the page works on under the sign-in that it has.
// Whoever changes who is signed in holds the sender's lock, so that nothing is sent under another one's name.

import { type JSX, type RefObject, createContext } from 'preact';
import { useEffect, useRef, useState } from 'preact/hooks';
import { Dialog } from './controls';
import { ask, onStranger, problemsOf } from './engine';
import { type Json, isObject, numberAt, parse, textAt, textsAt } from './json';
import { alone, onKept, tell } from './kept';
import { type Left, leftHere, leftWords } from './left';
import { takeOver, wake } from './outbox';
import { type Standing, becomeDevice, becomePerson, becomeStranger, howItStands, waitingHere } from './owner';
import { keepWhyOf, sayWhy, whyOf } from './why';

// name, display: empty for a stranger. needed: the engine wants a sign-in at all. rights: as GET /me names them.
export interface Me { needed: boolean; name: string; display: string; rights: string[] }
const kUnasked: Me = { needed: false, name: '', display: '', rights: [] };
export const SignedInAs = createContext<Me>(kUnasked);

// Where nobody signs in everybody may everything.
export function may(me: Me, ...rights: string[]): boolean {
  return !me.needed || rights.every((one) => me.rights.includes(one));
}

const kStanding = 'standing'; // told to the other tabs
const kLookAgain = 60_000; // milliseconds; a sign-in may end by its length while nobody asks the engine

function meOf({ needed, name, display, may: rights }: Standing): Me {
  return { needed, name, display, rights };
}
function same(a: Me, b: Me): boolean {
  return a.needed === b.needed && a.name === b.name && a.rights.join() === b.rights.join();
}

// What the engine says of who is signed in.
async function take(said: Json): Promise<void> {
  const before = await howItStands();
  const name = textAt(said, 'name');
  if (!isObject(said) || said['signIn'] !== true) await becomeDevice();
  else if (name === '') await becomeStranger();
  else {
    await becomePerson({ name, display: textAt(said, 'display'), may: textsAt(said, 'may'), secret: textAt(said, 'deviceKey'), lasts: Number(numberAt(said, 'lasts')) });
    await takeOver().catch(() => undefined); // no room: at the next sign-in
  }
  const now = await howItStands();
  if (!before.known || before.needed !== now.needed || before.name !== now.name) tell(kStanding);
}

// Tells the engine that whoever was signed in here has left.
async function leave(): Promise<boolean> {
  const { status } = await ask('POST', '/sign-out', '{}');
  if (status !== 204 && status !== 401 && status !== 404) return false;
  await becomeStranger();
  return true;
}

// Asks the engine; what it does not answer stays as it was.
function look(): Promise<Me> {
  return alone('send', async () => {
    try {
      if (!(await howItStands()).leaving || (await leave())) {
        const answer = await ask('GET', '/me');
        if (answer.status === 200) await take(parse(answer.body));
      }
    } catch {
      // no network, or a proxy's page
    }
    return meOf(await howItStands());
  });
}

// Forgotten here at once, whatever the network does.
async function signOut(): Promise<void> {
  await becomeStranger(true);
  tell(kStanding);
  await alone('send', leave).catch(() => undefined);
}

// Undefined until it is known.
export function useMe(): Me | undefined {
  const [me, set] = useState<Me>();
  useEffect(() => {
    const put = (next: Me): void => {
      keepWhyOf(next.name);
      set((old) => (old && same(old, next) ? old : next));
    };
    const show = (): void => void howItStands().then((one) => { if (one.known) put(meOf(one)); }, () => put(kUnasked));
    const ask = (): void => void look().then(put, () => put(kUnasked));
    show();
    ask();
    const timer = setInterval(show, kLookAgain);
    const stop = onKept((name) => { if (name === kStanding) show(); });
    const over = onStranger(ask);
    addEventListener('online', ask);
    return () => {
      clearInterval(timer);
      stop();
      over();
      removeEventListener('online', ask);
    };
  }, []);
  useEffect(() => wake(), [me]); // what waits of who is there now
  return me;
}

export function isStranger(me: Me | undefined): boolean {
  return me !== undefined && me.needed && me.name === '';
}

function WhyField(p: { input: RefObject<HTMLInputElement> }): JSX.Element {
  return (
    <>
      <label for="sign-in-why">Why you look at records today; it is written into the log</label>
      <input id="sign-in-why" ref={p.input} type="text" maxLength={120} required />
    </>
  );
}

// Who may read the log, or records without treating, and has not said in this tab why.
export function owesWhy(me: Me): boolean {
  const has = (right: string): boolean => me.rights.includes(right);
  return me.needed && (has('read-log') || (has('read-message') && !has('read-ward'))) && whyOf(me.name) === '';
}

// For one who signed in on another page or in another tab.
export function AskWhy(p: { me: Me; onSaid: () => void }): JSX.Element {
  const why = useRef<HTMLInputElement>(null);
  useEffect(() => why.current?.focus(), []);
  return (
    <div role="main">
      <SignedIn me={p.me} />
      <form class="sign-in" aria-labelledby="ask-why-title" onSubmit={(event) => {
        event.preventDefault();
        sayWhy(p.me.name, why.current?.value.trim() ?? '');
        p.onSaid();
      }}>
        <h1 id="ask-why-title">Before you look</h1>
        <WhyField input={why} />
        <button type="submit" class="send">Go on</button>
      </form>
    </div>
  );
}

// `hint`: what a person should know before. `asksWhy`: for who does not treat and looks at records.
export function SignIn(p: { hint: string; asksWhy?: boolean }): JSX.Element {
  const [said, say] = useState('');
  const [busy, setBusy] = useState(false);
  const name = useRef<HTMLInputElement>(null);
  const password = useRef<HTMLInputElement>(null);
  const why = useRef<HTMLInputElement>(null);
  const waiting = waitingHere();
  useEffect(() => name.current?.focus(), []);
  const send = async (): Promise<void> => {
    setBusy(true);
    say('');
    try {
      // Names are of small letters; some keyboards begin with a capital.
      const body = JSON.stringify({ name: name.current?.value.trim().toLowerCase(), password: password.current?.value });
      const answer = await alone('send', async () => {
        const one = await ask('POST', '/sign-in', body);
        if (one.status === 200) {
          const who = parse(one.body);
          if (why.current) sayWhy(textAt(who, 'name'), why.current.value.trim());
          await take(who);
        }
        return one;
      });
      if (answer.status === 200) return;
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
      {waiting > 0 && <p class="judged confirm">{waiting} {waiting === 1 ? 'session waits' : 'sessions wait'} on this device, sealed, until
        whoever recorded {waiting === 1 ? 'it' : 'them'} signs in here.</p>}
      <label for="sign-in-name">Name</label>
      <input id="sign-in-name" ref={name} type="text" autocomplete="username" autocapitalize="none" spellcheck={false} required />
      <label for="sign-in-password">Password</label>
      <input id="sign-in-password" ref={password} type="password" autocomplete="current-password" required />
      {p.asksWhy && <WhyField input={why} />}
      <p class="said" role="alert">{said}</p>
      <button type="submit" class="send" disabled={busy}>{busy ? 'Signing in …' : 'Sign in'}</button>
    </form></div>
  );
}

export function SignedIn({ me }: { me: Me }): JSX.Element {
  const [left, tellLeft] = useState<Left>();
  const out = async (): Promise<void> => {
    const here = await leftHere().catch((): Left => ({ sessions: 0, drafts: 0 }));
    if (here.sessions + here.drafts > 0) tellLeft(here);
    else await signOut();
  };
  return (
    <>
      <p class="signed-in">{me.display} is signed in.
        <button type="button" class="plain" onClick={() => void out()}>Sign out</button></p>
      {left && <Dialog title="Not everything is sent" onClose={() => tellLeft(undefined)}>
        <p>{leftWords(left)}</p>
        <p>When you sign out it stays on this device, sealed: nobody else can open it or send it. Sign in here again and it goes, and
          what is half filled in is there.</p>
        <div class="row end">
          <button type="button" class="plain" onClick={() => void signOut()}>Sign out and keep it sealed</button>
          <button type="button" class="send" onClick={() => tellLeft(undefined)}>Stay signed in</button>
        </div>
      </Dialog>}
    </>
  );
}
