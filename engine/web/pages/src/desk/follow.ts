// What is journalled while it happens (GET /events), as one signal for everything that shows the engine's state.

import { useEffect, useState } from 'preact/hooks';

const kKinds = ['started', 'stopped', 'refused', 'accepted', 'repeated', 'conflicting', 'checked', 'held', 'dispatched',
  'answered', 'landed', 'released', 'remapped', 'withdrawn', 'approved', 'paused', 'resumed', 'handed-out', 'link-ended', 'noticed',
  'shredded', 'expired', 'rekeyed', 'legal-hold', 'legal-hold-ended'];
const kCalm = 400; // milliseconds; many records become one look
const kAgain = 3_000; // milliseconds
const kAnyway = 15_000; // milliseconds; what no event announces, such as a server that came back

export interface News {
  count: number; // rises when there is something new to look at
  connected: boolean;
  landed: number[]; // when this page saw a landing, milliseconds, of the last minute
}

// Calls `hear` with the kind of each record, and `stands` with whether the engine tells. Ends with what it returns. Browsers
// allow six connections to a host, so a page that nobody sees has none.
function follow(hear: (kind: string) => void, stands: (connected: boolean) => void): () => void {
  let source: EventSource | undefined;
  let again: ReturnType<typeof setTimeout> | undefined;
  const close = (): void => {
    source?.close();
    source = undefined;
    clearTimeout(again);
  };
  const open = (): void => {
    close();
    const mine = new EventSource('/events');
    source = mine;
    for (const kind of kKinds) mine.addEventListener(kind, () => hear(kind));
    mine.onopen = () => stands(true);
    mine.onerror = () => {
      stands(false);
      // After an answer that is no stream (the engine's own 503, a gateway's 502) a browser tries no more.
      if (mine === source && mine.readyState === EventSource.CLOSED) again = setTimeout(open, kAgain);
    };
  };
  const seen = (): void => (document.hidden ? close() : open());
  seen();
  document.addEventListener('visibilitychange', seen);
  return () => {
    document.removeEventListener('visibilitychange', seen);
    close();
  };
}

export function useNews(): News {
  const [news, set] = useState<News>({ count: 0, connected: true, landed: [] });
  useEffect(() => {
    let due: ReturnType<typeof setTimeout> | undefined;
    let landed: number[] = [];
    const look = (): void => {
      due = undefined;
      landed = landed.filter((one) => one > Date.now() - 60_000);
      set((old) => ({ ...old, count: old.count + 1, landed }));
    };
    const soon = (): void => { due ??= setTimeout(look, kCalm); };
    const end = follow((kind) => {
      if (kind === 'landed') landed.push(Date.now());
      soon();
    }, (connected) => {
      set((old) => ({ ...old, connected }));
      if (connected) soon();
    });
    const timer = setInterval(() => { if (!document.hidden) look(); }, kAnyway);
    return () => {
      end();
      clearTimeout(due);
      clearInterval(timer);
    };
  }, []);
  return news;
}
