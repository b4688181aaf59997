// Keeps sessions on this device until they are in the chart, sends them when there is a network, and follows what
// becomes of them. All tabs share what is kept; one of them sends at a time, and nobody signs in or out meanwhile: what a
// person recorded goes under this person's sign-in only.

import { now, stamp } from './clock';
import { ask, problemsOf } from './engine';
import { type JsonObject, isObject, listAt, parse, textAt } from './json';
import { alone, deviceDrawer, drawer } from './kept';
import { type LocalSession, type Stand, documentOf, isOpen, isTakenBack, merge, partFrom } from './session';

const kPrefix = 'session-';
// Landed and closed ones stay to be corrected without asking the engine.
const kKeepFor = 36 * 3_600_000;
const kPauses = [300, 500, 1_000, 1_000, 2_000, 5_000, 15_000, 30_000];

export async function all(): Promise<LocalSession[]> {
  const sessions: LocalSession[] = [];
  for (const name of await drawer.namesOf(kPrefix)) {
    const one = await drawer.kept<LocalSession>(name).catch(() => undefined);
    if (one) sessions.push(one);
  }
  return sessions.sort((a, b) => b.touched - a.touched);
}

// Changes a session (or makes one, when `change` answers without one) as it is at that moment, whatever other tabs do.
// Errors: QuotaExceededError when the device is full, Locked when nobody is signed in; then nothing was changed.
export async function update(
  id: string,
  change: (session: LocalSession | undefined) => LocalSession | undefined,
): Promise<LocalSession | undefined> {
  return alone(`session-${id}`, async () => {
    const next = change(await drawer.kept<LocalSession>(kPrefix + id));
    if (next) await drawer.keep(kPrefix + id, next);
    return next;
  });
}

// What was recorded before the engine wanted a sign-in goes to the person who signs in first.
export async function takeOver(): Promise<void> {
  for (const name of await deviceDrawer.namesOf(kPrefix)) {
    const one = await deviceDrawer.kept<LocalSession>(name);
    if (one) await drawer.keep(name, one);
    await deviceDrawer.forget(name);
  }
}

export function unsent(sessions: LocalSession[]): LocalSession[] {
  return sessions.filter((one) => one.acknowledged < one.revision);
}

// --- Sending

const kSettled: Stand[] = ['landed', 'withdrawn', 'superseded'];

// What one try came to: 'later' when there is no network or the engine asks to wait.
async function send(session: LocalSession): Promise<'done' | 'later'> {
  await update(session.id, (one) => one && { ...one, tried: Math.max(one.tried, session.revision) });
  let answer;
  try {
    answer = await ask('POST', '/sessions', session.document);
  } catch {
    return 'later';
  }
  if (answer.status === 200 || answer.status === 202) {
    const engineId = textAt(parse(answer.body), 'session');
    await update(session.id, (one) => one && {
      ...one,
      acknowledged: Math.max(one.acknowledged, session.revision),
      session: engineId,
      base: one.revision === session.revision ? {} : one.base,
      stand: one.revision === session.revision ? 'accepted' : one.stand,
    });
    return 'done';
  }
  if (answer.status === 409) return reconcile(session, answer.location.replace(/^.*\//, ''));
  // 401: after the next sign-in.
  if (answer.status === 401 || answer.status === 503 || answer.status === 429 || answer.status >= 500) return 'later';
  const problem = problemsOf(answer)[0]?.text ?? '';
  await update(session.id, (one) => one && one.revision === session.revision
    ? { ...one, stand: 'refused', reason: problem } : one);
  return 'done';
}

// Somebody else sent a later revision of this session.
async function reconcile(session: LocalSession, engineId: string): Promise<'done' | 'later'> {
  try {
    const answer = await ask('GET', `/sessions/${engineId}/document`);
    const theirs = answer.status === 200 ? parse(answer.body) : undefined;
    if (!isObject(theirs)) return 'later';
    if (isTakenBack(theirs)) await part(session.id, theirs);
    else await update(session.id, (one) => one && { ...merge(one, theirs, stamp(now())), session: engineId });
    return 'done';
  } catch {
    return 'later';
  }
}

// A name for what goes on after a session was taken back: the same one when the device is cut off in the middle and comes
// here again. The form of a UUID of version 8 (RFC 9562).
async function nameAfter(id: string): Promise<string> {
  const hex = await drawer.hidden(`after ${id}`);
  return `urn:uuid:${hex.slice(0, 8)}-${hex.slice(8, 12)}-8${hex.slice(13, 16)}-a${hex.slice(17, 20)}-${hex.slice(20)}`;
}

// The whole session was taken back or moved. The new one is kept before the old one lets go of its entries.
async function part(id: string, theirs: JsonObject): Promise<void> {
  const after = await nameAfter(id);
  await alone(`session-${id}`, async () => {
    const one = await drawer.kept<LocalSession>(kPrefix + id);
    if (!one) return;
    const [old, next] = partFrom(one, theirs, after, now());
    if (next && (await drawer.kept(kPrefix + after)) === undefined) await drawer.keep(kPrefix + after, next);
    await drawer.keep(kPrefix + id, old);
  });
}

// The engine tells that a session of this name was taken back, which this device may still show as it was.
export async function takenBack(id: string, theirs: JsonObject): Promise<void> {
  const here = await drawer.kept<LocalSession>(kPrefix + id);
  if (!here || isTakenBack(documentOf(here))) return;
  await part(id, theirs);
  wake();
}

async function follow(session: LocalSession): Promise<'done' | 'later'> {
  const answer = await ask('GET', `/sessions/${session.session}`).catch(() => undefined);
  if (answer === undefined) return 'later';
  if (answer.status !== 200) return 'done';
  const view = parse(answer.body);
  const landed = listAt(view, 'revisions')
    .filter((one) => listAt(one, 'targets').every((leg) => textAt(leg, 'state') === 'landed'))
    .map((one) => Number(String(one['revision'])));
  await update(session.id, (one) => one && one.revision === session.revision ? {
    ...one,
    landed: Math.max(one.landed, ...landed),
    stand: (textAt(view, 'state') || one.stand) as Stand,
    reason: textAt(view, 'reasonText'),
  } : one);
  return 'done';
}

let pause = 0;
let timer: ReturnType<typeof setTimeout> | undefined;
let running = false;
let again = false;

// Sends what waits and follows what is under way; comes back by itself, less and less often, while there is anything to do.
export function wake(): void {
  pause = 0;
  work();
}

function work(): void {
  clearTimeout(timer);
  if (running) {
    again = true;
    return;
  }
  running = true;
  again = false;
  void navigator.locks.request('chartferry-send', { ifAvailable: true }, async (lock): Promise<Came> => (lock ? round() : 'more'))
    .catch((): Came => 'more')
    .then((came) => {
      running = false;
      if (again) work();
      else if ((came as Came) !== 'idle') timer = setTimeout(work, kPauses[Math.min(pause++, kPauses.length - 1)]);
    });
}

type Came = 'more' | 'idle';

async function round(): Promise<Came> {
  let underWay = false;
  for (const session of await all()) {
    if (session.acknowledged < session.revision && session.stand !== 'refused') {
      if ((await send(session)) === 'later') return 'more';
      underWay = true;
    } else if (session.session !== '' && !kSettled.includes(session.stand) && session.stand !== 'refused') {
      if ((await follow(session)) === 'later') return 'more';
      underWay = true;
    } else if (!isOpen(session) && kSettled.includes(session.stand) && now() - session.touched > kKeepFor) {
      await drawer.forget(kPrefix + session.id);
    }
  }
  return underWay ? 'more' : 'idle';
}

export function startSending(): void {
  addEventListener('online', wake);
  document.addEventListener('visibilitychange', () => { if (!document.hidden) wake(); });
  wake();
}
