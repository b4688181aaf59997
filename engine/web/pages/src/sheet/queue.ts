// What a patient ticks, kept sealed on this phone until the engine has it. Entries keep their ids, so that sending twice
// is the same as once. One tab sends at a time.

import { ask, problemsOf } from '../engine';
import { type JsonObject, isObject, listAt, parse, print, textAt } from '../json';
import { alone, deviceDrawer as drawer } from '../kept';

export interface Ticked { id: string; time: string; text: string; problem: string } // text: the entry as JSON
export interface KeptSheet {
  token: string;
  plan: string; // the engine's last answer, as JSON
  reported: string; // what the engine has, as JSON
  waiting: Ticked[];
  back: string[]; // taken back, and the engine not told yet
  ended: boolean;
}
export const kLast = 'sheet-last'; // the link that this phone opened last
const kAtOnce = 40; // the engine takes 50 in a request
const kPauses = [2_000, 5_000, 15_000, 30_000, 60_000];

async function nameOf(token: string): Promise<string> {
  return `sheet-${await drawer.hidden(token)}`;
}
export async function sheetOf(token: string): Promise<KeptSheet> {
  const known = await drawer.kept<KeptSheet>(await nameOf(token)).catch(() => undefined);
  return known ?? { token, plan: '', reported: '[]', waiting: [], back: [], ended: false };
}
export async function change(token: string, how: (sheet: KeptSheet) => KeptSheet): Promise<void> {
  await alone(`sheet-${token.slice(0, 4)}`, async () => drawer.keep(await nameOf(token), how(await sheetOf(token))));
}

export async function tick(token: string, entry: JsonObject): Promise<void> {
  const ticked = { id: textAt(entry, 'id'), time: textAt(entry, 'time'), text: print(entry), problem: '' };
  await change(token, (sheet) => ({ ...sheet, waiting: [...sheet.waiting, ticked] }));
  wake(token);
}
export async function takeBack(token: string, id: string): Promise<void> {
  // What may have reached the engine is taken back there too.
  await change(token, (sheet) => ({ ...sheet, waiting: sheet.waiting.filter((one) => one.id !== id), back: [...sheet.back, id] }));
  wake(token);
}

// Entries that stand on the sheet: the engine's and those that wait.
export function entriesOf(sheet: KeptSheet): JsonObject[] {
  const told = parse(sheet.reported);
  const there = Array.isArray(told) ? told.filter(isObject) : [];
  const ids = new Set(there.map((one) => textAt(one, 'id')));
  const waiting = sheet.waiting.filter((one) => !ids.has(one.id)).map((one) => parse(one.text)).filter(isObject);
  return [...there, ...waiting].filter((one) => !sheet.back.includes(textAt(one, 'id')))
    .sort((a, b) => Date.parse(textAt(a, 'time')) - Date.parse(textAt(b, 'time')));
}

type Came = 'done' | 'later';

async function send(sheet: KeptSheet, items: Ticked[], back: string[]): Promise<Came> {
  const body = `{"token":${JSON.stringify(sheet.token)},"entries":[${items.map((one) => one.text).join(',')}],"takenBack":${JSON.stringify(back)}}`;
  const answer = await ask('POST', '/sheet/records', body);
  const gone = new Set(items.map((one) => one.id));
  if (answer.status === 200 || answer.status === 202) {
    const reported = print(listAt(parse(answer.body), 'reported'));
    await change(sheet.token, (one) => ({ ...one, reported, waiting: one.waiting.filter((item) => !gone.has(item.id)),
      back: one.back.filter((id) => !back.includes(id)) }));
    return 'done';
  }
  if (answer.status === 404) {
    await change(sheet.token, (one) => ({ ...one, ended: true }));
    return 'done';
  }
  if (answer.status === 409 && back.length > 0) {
    await change(sheet.token, (one) => ({ ...one, back: [] })); // a therapist has looked at it: it stays
    return 'done';
  }
  if (answer.status !== 422 && answer.status !== 400) return 'later';
  if (items.length + back.length > 1) { // one of them is not taken; find it
    for (const item of items) {
      if ((await send(sheet, [item], [])) === 'later') return 'later';
    }
    return back.length > 0 ? send(sheet, [], back) : 'done';
  }
  const problem = problemsOf(answer)[0]?.text ?? '';
  await change(sheet.token, (one) => ({ ...one, back: one.back.filter((id) => !back.includes(id)),
    waiting: one.waiting.map((item) => (gone.has(item.id) ? { ...item, problem } : item)) }));
  return 'done';
}

async function look(token: string): Promise<Came> {
  const answer = await ask('POST', '/sheet/plan', JSON.stringify({ token }));
  if (answer.status === 404) {
    // Nothing of the plan stays on the phone; what could not be sent does.
    await change(token, (one) => ({ ...one, ended: true, plan: '' }));
    return 'done';
  }
  if (answer.status !== 200) return 'later';
  const told = parse(answer.body);
  await change(token, (one) => ({ ...one, ended: false, plan: answer.body, reported: print(listAt(told, 'reported')) }));
  return 'done';
}

let timer: ReturnType<typeof setTimeout> | undefined;
let tries = 0;
let busy = false;
let again = false;

// Sends what waits, then looks at the plan; comes back by itself while the engine cannot be reached.
export function wake(token: string): void {
  tries = 0;
  work(token);
}
function work(token: string): void {
  clearTimeout(timer);
  if (busy) {
    again = true;
    return;
  }
  busy = true;
  again = false;
  void run(token).catch((): Came => 'later').then((came) => {
    busy = false;
    if (again) work(token);
    else if (came === 'later') timer = setTimeout(() => work(token), kPauses[Math.min(tries++, kPauses.length - 1)]);
  });
}
async function run(token: string): Promise<Came> {
  const came = await navigator.locks.request('chartferry-sheet-send', { ifAvailable: true }, async (lock): Promise<Came> => {
    if (!lock) return 'later';
    for (;;) {
      const sheet = await sheetOf(token);
      const items = sheet.waiting.filter((one) => one.problem === '').slice(0, kAtOnce);
      if (items.length === 0 && sheet.back.length === 0) break;
      if ((await send(sheet, items, sheet.back.slice(0, kAtOnce))) === 'later') return 'later';
      if ((await sheetOf(token)).ended) break;
    }
    return look(token);
  });
  return came as Came;
}
