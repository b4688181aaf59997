// What is journalled while it happens (GET /events), as one signal for everything that shows the engine's state.

import { useEffect, useState } from 'preact/hooks';

const kKinds = ['started', 'stopped', 'refused', 'accepted', 'repeated', 'conflicting', 'checked', 'held', 'dispatched',
  'answered', 'landed', 'released', 'remapped', 'withdrawn', 'approved', 'paused', 'resumed', 'handed-out', 'link-ended', 'noticed',
  'shredded', 'expired', 'rekeyed', 'legal-hold', 'legal-hold-ended'];
const kCalm = 400; // milliseconds; many records become one look
const kAnyway = 15_000; // milliseconds; what no event announces, such as a server that came back

export interface News {
  count: number; // rises when there is something new to look at
  connected: boolean;
  landed: number[]; // when this page saw a landing, milliseconds, of the last minute
}

export function useNews(): News {
  const [news, set] = useState<News>({ count: 0, connected: true, landed: [] });
  useEffect(() => {
    const source = new EventSource('/events');
    let due: ReturnType<typeof setTimeout> | undefined;
    let landed: number[] = [];
    const look = (): void => {
      due = undefined;
      landed = landed.filter((one) => one > Date.now() - 60_000);
      set((old) => ({ ...old, count: old.count + 1, landed }));
    };
    const soon = (): void => { due ??= setTimeout(look, kCalm); };
    for (const kind of kKinds) {
      source.addEventListener(kind, () => {
        if (kind === 'landed') landed.push(Date.now());
        soon();
      });
    }
    source.onopen = () => {
      set((old) => ({ ...old, connected: true }));
      soon();
    };
    source.onerror = () => set((old) => ({ ...old, connected: false }));
    const timer = setInterval(() => { if (!document.hidden) look(); }, kAnyway);
    return () => {
      source.close();
      clearTimeout(due);
      clearInterval(timer);
    };
  }, []);
  return news;
}
