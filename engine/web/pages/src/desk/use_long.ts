// A long list that reads what comes into sight, one page at a time, and follows what is new.

import { useCallback, useEffect, useRef, useState } from 'preact/hooks';
import { listAt, numberAt } from '../json';
import { told } from './asking';
import { type Batch, LongList } from './long_list';

export interface Long {
  list: LongList;
  loading: boolean; // the first answer has not come
  problem: string;
  added: number; // rows that came before the others since the list began
  sight: (from: number, to: number) => void;
  on: (() => void) | undefined; // much was looked through and little found: goes on looking
}
export interface Wanted {
  path: string; // POSTed to
  bodyOf: (before: string) => string; // for the rows before a cursor
  member: string; // of the answer: the rows
  key: string; // another one, another list
  news: number; // when it rises, the engine may have something new
  most: number; // rows after which no more are read
  lean: boolean; // what is far from sight is let go, and read again when it comes back
}

const kBarren = 20; // answers in a row that may bring nothing before a person is asked

interface State { key: string; list: LongList; problem: string; added: number; barren: number }
const stateOf = (key: string): State => ({ key, list: LongList.kEmpty, problem: '', added: 0, barren: 0 });

async function read(p: Wanted, before: string): Promise<Batch & { problem: string }> {
  const answer = await told('POST', p.path, p.bodyOf(before));
  return { rows: listAt(answer.value, p.member), next: numberAt(answer.value, 'next'), problem: answer.problem };
}

// The latest part as it is now. While something further down is in sight, nothing moves: what is new comes before it, and
// what is seen is read again.
function renewed(old: State, latest: Batch, seen: { from: number; to: number }): State {
  if (seen.from === 0) return { ...old, list: old.list.with(0, '', latest) };
  const [list, more] = old.list.withLatest(latest);
  return { ...old, list: list.stale(seen.from + more, seen.to + more), added: old.added + more };
}

export function useLong(p: Wanted): Long {
  const [shown, show] = useState(stateOf(p.key));
  const now = useRef(shown); // as the next step finds it, whatever of it has been drawn
  const wish = useRef(p);
  const seen = useRef({ from: 0, to: 0 });
  const busy = useRef(false);
  const dirty = useRef(false);
  wish.current = p;

  const pump = useCallback((): void => {
    if (busy.current) return;
    const mine = wish.current;
    const before = now.current.key === mine.key ? now.current : stateOf(mine.key);
    const { list } = before;
    const renew = list.started && dirty.current;
    const wanted = renew ? { page: 0, before: '' }
      : list.total < mine.most && before.barren < kBarren ? list.wanted(seen.current.from, seen.current.to) : undefined;
    if (!wanted) return;
    busy.current = true;
    dirty.current = false;
    void read(mine, wanted.before).then((batch) => {
      busy.current = false;
      if (wish.current.key === mine.key) {
        const next = batch.problem ? before
          : renew ? renewed(before, batch, seen.current) : { ...before, list: list.with(wanted.page, wanted.before, batch),
            barren: batch.rows.length > 0 ? 0 : before.barren + 1 };
        now.current = { ...next, problem: batch.problem, list: mine.lean ? next.list.lean(seen.current.from, seen.current.to) : next.list };
        show(now.current);
        if (batch.problem) return; // until something moves
      }
      pump();
    });
  }, []);

  useEffect(() => {
    seen.current = { from: 0, to: 0 };
    pump();
  }, [p.key]);
  useEffect(() => {
    if (p.news > 0) dirty.current = true;
    pump();
  }, [p.news]);
  const sight = useCallback((from: number, to: number): void => {
    seen.current = { from, to };
    pump();
  }, []);

  const mine = shown.key === p.key ? shown : stateOf(p.key);
  const on = (): void => {
    now.current = { ...now.current, barren: 0 };
    show(now.current);
    pump();
  };
  return { list: mine.list, loading: !mine.list.started && mine.problem === '', problem: mine.problem, added: mine.added, sight,
    on: mine.barren >= kBarren ? on : undefined };
}
