// Sixty therapists at once, each with a network that goes and comes back: everything that they recorded is in the record
// server, once. Each runs the Round page's own code for keeping, sending and merging, with a database, locks and a fetch of
// its own; a cut falls before a request, or after the engine has answered it.
//   node flapping.mjs SECONDS SEED [THERAPISTS]
import assert from 'node:assert/strict';
import { execFileSync } from 'node:child_process';
import { createRequire } from 'node:module';

const { ENGINE: engine, RECORDS: records, MODULES: modules, PAGES: pages } = process.env;
const [seconds = 60, seed = 1, therapists = 60] = process.argv.slice(2).map(Number);
const need = createRequire(modules);
const { IDBFactory, IDBKeyRange } = need('fake-indexeddb');
const kSettling = 180_000; // milliseconds, for the last of it to land

const code = execFileSync('esbuild', [
  new URL('therapist.ts', import.meta.url).pathname, '--bundle', '--format=cjs', '--log-level=warning', '--platform=browser',
], { encoding: 'utf8', env: { ...process.env, NODE_PATH: pages } });

// mulberry32: the same seed gives the same journeys; the machine's speed still decides what meets what.
function randomOf(start) {
  let state = start >>> 0;
  return () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let t = state;
    t = Math.imul(t ^ (t >>> 15), t | 1);
    t ^= t + Math.imul(t ^ (t >>> 7), t | 61);
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
  };
}
const sleep = (ms) => new Promise((wake) => { setTimeout(wake, ms); });

class Locks {
  #held = new Map();
  async request(name, options, work = options) {
    const before = this.#held.get(name);
    if (options.ifAvailable && before) return work(null);
    const turn = (before ?? Promise.resolve()).catch(() => undefined).then(() => work({ name }));
    this.#held.set(name, turn);
    try {
      return await turn;
    } finally {
      if (this.#held.get(name) === turn) this.#held.delete(name);
    }
  }
}

const counts = { cutBefore: 0, cutAfter: 0, recorded: 0, corrected: 0, withdrawn: 0 };

// The page's code with a world of its own.
function device(random) {
  const listeners = [];
  const world = { online: true, module: { exports: {} } };
  const cut = () => { throw new TypeError('network'); };
  const fetchCut = async (path, options) => {
    if (!world.online) { counts.cutBefore += 1; cut(); }
    const answer = await fetch(engine + path, options);
    const body = await answer.text();
    if (!world.online || random() < 0.05) { counts.cutAfter += 1; cut(); }
    return new Response(body, { status: answer.status, headers: answer.headers });
  };
  const storage = { getItem: () => null, setItem() {} };
  const make = new Function('module', 'indexedDB', 'IDBKeyRange', 'navigator', 'BroadcastChannel', 'fetch', 'localStorage',
    'sessionStorage', 'document', 'addEventListener', 'require', code);
  make(world.module, new IDBFactory(), IDBKeyRange, { locks: new Locks(), get onLine() { return world.online; } },
    class { postMessage() {} }, fetchCut, storage, storage, { addEventListener() {}, hidden: false },
    (name, listener) => { if (name === 'online') listeners.push(listener); }, need);
  world.flap = (online) => {
    world.online = online;
    if (online) listeners.forEach((listener) => listener());
  };
  return world;
}

async function work(number, until) {
  const random = randomOf(seed * 1000 + number);
  const world = device(random);
  const page = world.module.exports;
  let ward;
  for (let tries = 0; !ward; tries += 1) { // its answer may be cut too
    let problem;
    ({ ward, problem } = await page.loadWard());
    assert.ok(ward || tries < 50, problem);
  }
  const person = ward.people[number % ward.people.length];
  page.startSending();
  const expected = new Map(); // words -> status that its Observation should have
  let made = 0;
  const flapping = (async () => {
    while (Date.now() < until) {
      await sleep(300 + 2_000 * random());
      world.flap(!world.online);
    }
    world.flap(true);
  })();
  while (Date.now() < until) {
    await sleep(500 + 2_500 * random());
    const sessions = await page.all();
    const patient = ward.patients[Math.floor(random() * ward.patients.length)];
    const draft = page.emptyDraft();
    const words = `device ${number} entry ${made += 1} seed ${seed}`;
    draft.note.text = words;
    if (random() < 0.5) draft.vitals.saturation = String(93 + Math.floor(5 * random()));
    await page.recordDraft(ward, patient, person, draft);
    expected.set(words, 'final');
    counts.recorded += 1;
    const dice = random();
    const one = sessions.find((session) => page.entriesOf(session).some((entry) => entry.note));
    const note = one && page.entriesOf(one).find((entry) => entry.note);
    if (note && dice < 0.2) {
      const withdrawn = dice < 0.08;
      const corrected = { ...note, note: { text: `${note.note.text}, corrected` } };
      await page.amend(one, withdrawn ? note : corrected, withdrawn, 'mistyped', person);
      expected.delete(note.note.text);
      if (!withdrawn) expected.set(corrected.note.text, 'corrected');
      counts[withdrawn ? 'withdrawn' : 'corrected'] += 1;
    } else if (one && page.isOpen(one) && dice > 0.9) {
      await page.end(one);
    }
  }
  await flapping;
  for (const limit = Date.now() + kSettling; ; await sleep(250)) {
    const open = (await page.all()).filter((one) => one.acknowledged < one.revision || !['landed', 'superseded'].includes(one.stand));
    if (open.length === 0) break;
    assert.ok(Date.now() < limit, `device ${number}: ${open.map((one) => `${one.stand} ${one.reason}`).join(', ')}`);
    page.wake();
  }
  return expected;
}

// Every Observation of the record server whose words are of this run: words -> statuses.
async function landed() {
  const found = new Map();
  for (let next = `${records}/Observation?_count=500`; next;) {
    const bundle = await (await fetch(next)).json();
    for (const { resource } of bundle.entry ?? []) {
      if (resource.valueString?.startsWith('device ') && resource.valueString.includes(`seed ${seed}`)) {
        found.set(resource.valueString, [...(found.get(resource.valueString) ?? []), resource.status]);
      }
    }
    next = bundle.link?.find((one) => one.relation === 'next')?.url;
  }
  return found;
}

const until = Date.now() + seconds * 1000;
const all = await Promise.all(Array.from({ length: therapists }, (_, number) => work(number, until)));
const there = await landed();
const lost = [];
const twice = [];
let wanted = 0;
for (const expected of all) {
  for (const words of expected.keys()) {
    wanted += 1;
    const statuses = (there.get(words) ?? []).filter((status) => status !== 'entered-in-error');
    if (statuses.length === 0) lost.push(words);
    if (statuses.length > 1) twice.push(words);
  }
}
console.log(`${therapists} therapists, ${seconds} s, seed ${seed}: ${counts.recorded} notes recorded, ${counts.corrected} corrected, `
  + `${counts.withdrawn} withdrawn; ${counts.cutBefore} requests cut before the engine, ${counts.cutAfter} after it; `
  + `${wanted} wanted in the chart, ${lost.length} lost, ${twice.length} double`);
assert.deepEqual(lost, []);
assert.deepEqual(twice, []);
const extra = [...there].filter(([words, statuses]) => !all.some((one) => one.has(words)) && statuses.some((status) => status !== 'entered-in-error'));
assert.deepEqual(extra, [], 'what was withdrawn or corrected still stands');
assert.ok(counts.cutAfter > 0 && counts.cutBefore > 0);
process.exit(0);
