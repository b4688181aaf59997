// A table of which only the rows in sight are in the page, however many there are. It is worked by arrows, Page up and
// down, Home and End; a screen reader is told the number of each row and, once it is known, how many there are.

import type { ComponentChildren, JSX } from 'preact';
import { useEffect, useLayoutEffect, useRef, useState } from 'preact/hooks';
import type { JsonObject } from '../json';
import type { LongList } from './long_list';

const kTallest = 8_000_000; // px; no browser lays out a box of a million rows
const kSpare = 8; // rows above and below what is in sight
const kGuess = 52; // px of a row, until one is measured

// `top`: how far down in all rows, px; `shift`: what of it the box's own offset does not say, when all are too tall for it.
interface Stand { top: number; shift: number }

export interface Column { title: string; class: string }

export function LongTable(p: {
  label: string; class: string; columns: Column[]; list: LongList;
  cells: (row: JsonObject, tab: number) => ComponentChildren[]; // `tab`: tabIndex of what of the row can have the focus
  onSight: (from: number, to: number) => void; // these rows are wanted
  added: number; // rows that came before the others since the list began
}): JSX.Element {
  const box = useRef<HTMLDivElement>(null);
  const offset = useRef(0); // the box's, when it was looked at last
  const wish = useRef(-1); // a row that shall have the focus once it is there
  const added = useRef(p.added);
  const [height, setHeight] = useState(kGuess);
  const [head, setHead] = useState(0);
  const [seen, setSeen] = useState(600);
  const [stand, setStand] = useState<Stand>({ top: 0, shift: 0 });
  const [active, setActive] = useState(0);
  const [, draw] = useState(0);
  const { list } = p;
  const all = list.total * height;
  const low = Math.floor(stand.top / height);
  const first = Math.max(0, low - kSpare);
  const end = Math.min(list.total, Math.ceil((stand.top + seen) / height) + kSpare);

  // The box stands where these rows are: at the same part of it, when it cannot be as tall as they are.
  const standAt = (top: number): void => {
    const node = box.current;
    if (!node) return;
    const whole = Math.max(1, all + head - seen);
    const room = Math.min(all, kTallest) + head - seen;
    node.scrollTop = all <= kTallest ? top : (top / whole) * room;
    offset.current = node.scrollTop;
    setStand({ top, shift: all <= kTallest ? 0 : top - node.scrollTop });
  };
  // Small steps go as far as they say; a leap (the scroll bar is dragged) goes to the same part of the whole.
  const follow = (): void => {
    const node = box.current;
    if (!node) return;
    const at = node.scrollTop;
    const step = at - offset.current;
    offset.current = at;
    const room = node.scrollHeight - node.clientHeight;
    const whole = Math.max(0, all + head - node.clientHeight);
    const leap = Math.abs(step) > 2 * node.clientHeight || at <= 0 || at >= room;
    const top = all <= kTallest ? at : Math.min(whole, Math.max(0, leap ? (at / room) * whole : stand.top + step));
    setStand({ top, shift: top - at });
  };

  useEffect(() => p.onSight(low, end), [low, end, list]);
  useLayoutEffect(() => {
    const node = box.current;
    const row = node?.querySelector<HTMLElement>('.long-rows > [role="row"]');
    if (row && Math.abs(row.offsetHeight - height) > 0.5) setHeight(row.offsetHeight);
    setHead(node?.querySelector<HTMLElement>('.long-head')?.offsetHeight ?? 0);
    if (node) setSeen(node.clientHeight);
  });
  useEffect(() => {
    const node = box.current;
    if (!node) return undefined;
    const watch = new ResizeObserver(() => setSeen(node.clientHeight));
    watch.observe(node);
    return () => watch.disconnect();
  }, []);
  // What comes before the others moves nothing that is being read, nor does what is found behind them.
  useLayoutEffect(() => {
    const more = low === 0 ? 0 : p.added - added.current;
    added.current = p.added;
    if (more > 0) setActive(active + more);
    if (more > 0 || all > kTallest) standAt(stand.top + more * height);
  }, [p.added, all]);
  useLayoutEffect(() => {
    const node = box.current;
    if (!node) return;
    const target = wish.current < 0 ? undefined : node.querySelector<HTMLElement>(`[data-row="${wish.current}"] :is(a, button)`);
    if (target) {
      wish.current = -1;
      target.focus({ preventScroll: true });
    } else if (document.activeElement === document.body && node.dataset['had'] === 'focus') {
      node.focus({ preventScroll: true }); // its row went out of sight
    }
    node.dataset['had'] = node.contains(document.activeElement) ? 'focus' : '';
  });

  const go = (to: number): void => {
    if (list.total === 0) return;
    const row = Math.min(list.total - 1, Math.max(0, to));
    const view = seen - head;
    setActive(row);
    wish.current = row;
    draw((count) => count + 1); // the focus moves when it is drawn, also where nothing else changes
    if (row * height < stand.top) standAt(row * height);
    else if ((row + 1) * height > stand.top + view) standAt((row + 1) * height - view);
  };
  const onKey = (event: KeyboardEvent): void => {
    const screen = Math.max(1, Math.floor((seen - head) / height) - 1);
    const step = event.target === box.current ? 0 : 1; // from the box itself, the row that had the focus last
    const to = { ArrowDown: active + step, ArrowUp: active - step, PageDown: active + screen, PageUp: active - screen, Home: 0,
      End: list.total - 1 }[event.key];
    if (to === undefined || event.altKey || event.ctrlKey || event.metaKey) return;
    event.preventDefault();
    go(to);
  };

  const rows: JSX.Element[] = [];
  for (let i = first; i < end; i += 1) {
    const row = list.row(i);
    rows.push(
      <div role="row" aria-rowindex={i + 2} key={i} data-row={i} onFocusCapture={() => setActive(i)}>
        {row ? p.cells(row, i === active ? 0 : -1).map((cell, at) => <div role="cell" key={at} class={p.columns[at]?.class ?? ''}>{cell}</div>)
          : <div role="cell" class="none">…</div>}
      </div>);
  }
  return (
    <div class={`long ${p.class}`} ref={box} tabIndex={0} role="group" aria-label={`${p.label}; arrow keys go from row to row`}
      onScroll={follow} onKeyDown={onKey}>
      <div role="table" aria-label={p.label} aria-rowcount={list.complete ? list.total + 1 : -1}>
        <div role="rowgroup" class="long-head"><div role="row" aria-rowindex={1}>{p.columns.map((one) => (
          <div role="columnheader" class={one.class} key={one.title}>{one.title}</div>))}</div></div>
        <div role="rowgroup" class="long-all" style={{ height: `${Math.min(all, kTallest)}px` }}>
          <div class="long-rows" style={{ transform: `translateY(${first * height - stand.shift}px)` }}>{rows}</div></div>
      </div>
    </div>
  );
}
