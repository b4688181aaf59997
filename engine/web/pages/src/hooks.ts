// State that lives outside a component: what is kept on the device, the time, the network, the table.

import { useEffect, useState } from 'preact/hooks';
import { now } from './clock';
import { ask } from './engine';
import { onKept } from './kept';
import { all } from './outbox';
import type { Table } from './plausibility';
import type { LocalSession } from './session';

export function useSessions(): LocalSession[] {
  const [sessions, set] = useState<LocalSession[]>([]);
  useEffect(() => {
    const load = (): void => void all().then(set, () => undefined);
    load();
    return onKept((name) => { if (name.startsWith('session-')) load(); });
  }, []);
  return sessions;
}

export function useTable(): Table | undefined {
  const [table, set] = useState<Table>();
  useEffect(() => {
    const load = (): Promise<void> => ask('GET', '/plausibility')
      .then((answer) => { if (answer.status === 200) set(JSON.parse(answer.body) as Table); });
    load().catch(() => addEventListener('online', () => void load().catch(() => undefined), { once: true }));
  }, []);
  return table;
}

// Ticks while `running`, for stopwatches.
export function useNow(running: boolean): number {
  const [time, set] = useState(now());
  useEffect(() => {
    if (!running) return undefined;
    set(now());
    const timer = setInterval(() => set(now()), 500);
    return () => clearInterval(timer);
  }, [running]);
  return time;
}

// How tall the head of the page is, which depends on the reader's letters: what sticks under it stands below it.
export function useHead(): { ref: (head: HTMLElement | null) => void } {
  const [ref] = useState(() => {
    const watch = new ResizeObserver(([one]) => {
      if (one) document.documentElement.style.setProperty('--head', `${Math.ceil(one.target.getBoundingClientRect().height)}px`);
    });
    return (head: HTMLElement | null): void => {
      watch.disconnect();
      if (head) watch.observe(head);
    };
  });
  return { ref };
}

export function useOnline(): boolean {
  const [online, set] = useState(navigator.onLine);
  useEffect(() => {
    const tell = (): void => set(navigator.onLine);
    addEventListener('online', tell);
    addEventListener('offline', tell);
    return () => {
      removeEventListener('online', tell);
      removeEventListener('offline', tell);
    };
  }, []);
  return online;
}
