// The frame of the desk: where the traffic, the record servers, the maps and the log are looked at.

import type { JSX } from 'preact';
import { useEffect, useState } from 'preact/hooks';
import { useNews } from './follow';
import { useHead } from '../hooks';
import { AskWhy, type Me, SignIn, SignedIn, SignedInAs, isStranger, may, owesWhy, useMe } from '../sign_in';
import { Log } from './log';
import { Maps } from './maps';
import { Message } from './message';
import { usePlace } from './place';
import { Targets } from './targets';
import { Traffic } from './traffic';
import { TryOut } from './try_out';

// What each is called, and the rights that it takes to use it.
const kRooms: [string, string, string[]][] = [['traffic', 'Traffic', ['traffic']], ['targets', 'Targets', ['see-targets']],
  ['maps', 'Maps', ['see-mapping']], ['try-out', 'Try out', ['see-mapping', 'read-message']], ['log', 'Log', ['read-log', 'audit']]];

export function Desk(): JSX.Element | null {
  const me = useMe();
  const [, setSaid] = useState(0);
  if (!me) return null;
  if (isStranger(me)) return <SignIn hint="For engineers, auditors and operators." asksWhy />;
  if (owesWhy(me)) return <AskWhy me={me} onSaid={() => setSaid((times) => times + 1)} />;
  return <SignedInAs.Provider value={me}><Rooms key={me.name} me={me} /></SignedInAs.Provider>;
}

function Rooms({ me }: { me: Me }): JSX.Element {
  const news = useNews();
  const head = useHead();
  const [room = 'traffic', ...rest] = usePlace();
  const [, name, rights] = kRooms.find(([one]) => one === room) ?? [room, room === 'message' ? 'Message' : 'Traffic', ['traffic']];
  useEffect(() => { document.title = name; }, [name]);
  return (
    <>
      <header class="top" {...head}>
        <nav aria-label="Desk">{kRooms.filter(([, , needed]) => may(me, ...needed)).map(([one, words]) => (
          <a key={one} href={`#${one}`} aria-current={one === room ? 'page' : undefined}>{words}</a>))}</nav>
        <span class={`link ${news.connected ? 'is-on' : 'is-off'}`} role="status">{news.connected ? <span class="on-word">Live</span> : 'Engine away'}</span>
      </header>
      <main>
        {me.name !== '' && <SignedIn me={me} />}
        {!may(me, ...rights) ? <p class="banner">{name} is not for your role.</p>
          : room === 'message' && rest[0] ? <Message key={`${rest[0]}/${rest[1]}`} session={rest[0]} revision={Number(rest[1] ?? '0')} news={news} />
            : room === 'targets' ? <Targets news={news} />
              : room === 'maps' ? <Maps news={news} />
                : room === 'try-out' ? <TryOut session={rest[0] ?? ''} revision={rest[1] ?? ''} />
                  : room === 'log' ? <Log />
                    : <Traffic news={news} />}
      </main>
    </>
  );
}
