// A list of which the engine gives the latest part first and the rest page by page over a cursor (docs/api.md): which pages
// are known, which have to be read, and which may be let go. Rows have a number, their position in the journal. Pure.

import { type JsonObject, numberAt } from '../json';

export interface Batch { rows: JsonObject[]; next: string } // next: '' when there are no more

// `before`: '' for the latest. `rows`: undefined when they were let go and have to be read again.
// `stale`: shown, and to be read again.
interface Page { before: string; next: string; count: number; rows: JsonObject[] | undefined; stale?: boolean }

const kAhead = 300; // rows that are there before they are reached
const kKept = 12; // pages on either side of what is shown

export function positionOf(row: JsonObject): string {
  return numberAt(row, 'position');
}

export class LongList {
  private readonly starts: number[] = []; // the first row of each page
  readonly total: number;
  private constructor(private readonly pages: readonly Page[]) {
    let total = 0;
    for (const page of pages) {
      this.starts.push(total);
      total += page.count;
    }
    this.total = total;
  }
  static readonly kEmpty = new LongList([]);

  get started(): boolean {
    return this.pages.length > 0;
  }
  // Whether `total` is all that there is.
  get complete(): boolean {
    return this.pages.at(-1)?.next === '';
  }
  row(index: number): JsonObject | undefined {
    const at = this.pageOf(index);
    return this.pages[at]?.rows?.[index - (this.starts[at] ?? 0)];
  }
  rows(): JsonObject[] {
    return this.pages.flatMap((page) => page.rows ?? []);
  }

  // The cursor of what has to be read so that the rows `from` to `to` can be shown; undefined when nothing has to.
  wanted(from: number, to: number): { page: number; before: string } | undefined {
    for (let at = this.pageOf(Math.max(0, from)); at < this.pages.length && (this.starts[at] ?? 0) <= to; at += 1) {
      const page = this.pages[at];
      if (page && (page.rows === undefined || page.stale)) return { page: at, before: page.before };
    }
    const last = this.pages.at(-1);
    if (last === undefined) return { page: 0, before: '' };
    return last.next !== '' && to + kAhead >= this.total ? { page: this.pages.length, before: last.next } : undefined;
  }
  // With a page that was read. When it does not lead to the one behind it any more, that and what follows are dropped.
  with(at: number, before: string, batch: Batch): LongList {
    const read: Page = { before, next: batch.next, count: batch.rows.length, rows: batch.rows };
    const behind = this.pages[at + 1]?.before === batch.next ? this.pages.slice(at + 1) : [];
    return new LongList([...this.pages.slice(0, at), read, ...behind]);
  }
  // With the latest part as it is now, while something further down is shown; and how many rows came before the others.
  withLatest(batch: Batch): [LongList, number] {
    const first = this.row(0);
    const known = first === undefined ? -1 : batch.rows.findIndex((one) => positionOf(one) === positionOf(first));
    if (first === undefined || known < 0) return [LongList.kEmpty.with(0, '', batch), 0];
    if (known === 0) return [this, 0];
    const cursor = String(Number(positionOf(first)) + 1); // from it on, what was the latest part stays the same
    const [old, ...others] = this.pages;
    const fresh: Page = { before: '', next: cursor, count: known, rows: batch.rows.slice(0, known) };
    return [new LongList([fresh, ...(old ? [{ ...old, before: cursor }] : []), ...others]), known];
  }
  // What of the rows `from` to `to` is not of the latest part has to be read again.
  stale(from: number, to: number): LongList {
    const last = this.pageOf(to);
    return new LongList(this.pages.map((page, at) => (at > 0 && at >= this.pageOf(from) && at <= last ? { ...page, stale: true } : page)));
  }
  // What is far from the rows `from` to `to` is let go; the latest page stays.
  lean(from: number, to: number): LongList {
    const first = this.pageOf(from) - kKept;
    const last = this.pageOf(to) + kKept;
    const held = (page: Page, at: number): boolean => page.rows !== undefined && at > 0 && (at < first || at > last);
    if (!this.pages.some(held)) return this;
    // Of thousands of pages only the few that are let go are made anew.
    return new LongList(this.pages.map((page, at) => (held(page, at) ? { ...page, rows: undefined } : page)));
  }

  private pageOf(index: number): number {
    let low = 0;
    let high = this.pages.length - 1;
    while (low < high) {
      const middle = (low + high + 1) >> 1;
      if ((this.starts[middle] ?? 0) <= index) low = middle;
      else high = middle - 1;
    }
    return low;
  }
}
