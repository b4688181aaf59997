// The frame around the pages: who is signed in, and the work of this person. Somebody else's work is another one.

import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import { useOnline } from './hooks';
import { SignIn, SignedIn, isStranger, may, useMe } from './sign_in';
import { type Place, Work, kWardList } from './work';

export function App(): JSX.Element {
  const me = useMe();
  const online = useOnline();
  // Where somebody was when a sign-in ended; who signs in then goes on there only when it is the same one.
  const [left, leave] = useState<{ by: string; place: Place }>({ by: '', place: kWardList });
  if (isStranger(me)) {
    return (
      <>
        <header class="top"><h1 class="brand">Round</h1>
          <span class={`link ${online ? 'is-on' : 'is-off'}`} role="status">{online ? <span class="on-word">Connected</span> : 'Offline'}</span></header>
        <SignIn hint="What you record on this device is sealed to you: nobody else can open it, and it is sent under your name." />
      </>
    );
  }
  if (me && me.rights.length > 0 && !may(me, 'read-ward')) {
    return (
      <>
        <header class="top"><h1 class="brand">Round</h1></header>
        <main><SignedIn me={me} /><p class="banner">This page is for therapists. Yours is <a href="/desk">the desk</a>.</p></main>
      </>
    );
  }
  return (
    <Work key={me?.name ?? ''} me={me} place={left.by === (me?.name ?? '') ? left.place : kWardList}
      onPlace={(place) => leave({ by: me?.name ?? '', place })}
      head={me && me.name !== '' ? <SignedIn me={me} /> : undefined} />
  );
}
