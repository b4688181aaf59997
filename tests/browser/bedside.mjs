// A therapist at the page: a browser context of its own per test, taps that are counted, and the record server asked what
// has landed. The browser is Debian's chromium.
import { createRequire } from 'node:module';
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { test } from 'node:test';

const { chromium } = createRequire(process.env.MODULES)('playwright-core');
export const engine = process.env.ENGINE;
export const records = process.env.RECORDS;
export const sizes = { phone: [390, 844], tablet: [820, 1180], pc: [1440, 900] };

// Debian's chromium has no barcode reader: this one reads `code` in any picture, of a camera that shows nothing.
function playCamera(code) {
  globalThis.tracks = [];
  globalThis.BarcodeDetector = class {
    async detect() { return [{ rawValue: code }]; }
  };
  navigator.mediaDevices.getUserMedia = async () => {
    const stream = document.createElement('canvas').captureStream();
    globalThis.tracks.push(...stream.getTracks());
    return stream;
  };
}

// In the page: a device without room, as its database tells it: the transaction is given up after it was begun. room()
// ends that.
export function fillUp() {
  const { put } = IDBObjectStore.prototype;
  IDBObjectStore.prototype.put = function full(...what) {
    const asked = put.apply(this, what);
    this.transaction.abort();
    return asked;
  };
  globalThis.room = () => { IDBObjectStore.prototype.put = put; };
}

let browser;
export async function openBrowser() {
  // Whoever runs the tests as root cannot have chromium's sandbox.
  browser = await chromium.launch({ executablePath: '/usr/bin/chromium', args: process.getuid() === 0 ? ['--no-sandbox'] : [] });
}
export async function closeBrowser() {
  await browser.close();
}

export class Bedside {
  // `at`: the page's path and what is there when it has opened. `stranger`: of an engine that wants a sign-in, where the
  // page opens with the form.
  static async open({ size = 'phone', scheme = 'light', zone = 'Europe/Paris', camera, stranger = false,
                      at = ['', stranger ? '.sign-in' : '.patient'] } = {}) {
    const [width, height] = sizes[size];
    const context = await browser.newContext({
      viewport: { width, height }, colorScheme: scheme, hasTouch: size !== 'pc', timezoneId: zone, locale: 'en-GB' });
    if (camera) await context.addInitScript(playCamera, camera);
    const page = await context.newPage();
    const one = new Bedside();
    Object.assign(one, { context, page, taps: 0, faults: [], offline: false });
    page.setDefaultTimeout(10_000);
    page.on('console', (said) => {
      // A fetch without a network is logged by the browser itself.
      const known = stranger ? /ERR_INTERNET_DISCONNECTED|status of 40[13]/ : /ERR_INTERNET_DISCONNECTED/;
      if (said.type() === 'error' && !known.test(said.text())) one.faults.push(said.text());
    });
    page.on('pageerror', (error) => one.faults.push(String(error)));
    page.on('request', (request) => {
      if (new URL(request.url()).origin !== engine) one.faults.push(`a request to ${request.url()}`);
    });
    await page.goto(engine + at[0]);
    await page.locator(at[1]).first().waitFor();
    return one;
  }
  async close() {
    await this.context.close();
    const faults = this.faults.filter((fault) => !this.expected || !fault.includes(this.expected));
    assert.deepEqual(faults, [], 'errors in the console, or requests to elsewhere');
  }

  async tap(target) {
    this.taps += 1;
    await (typeof target === 'string' || target instanceof RegExp ? this.page.getByRole('button', { name: target, exact: true }) : target).click();
  }
  group(name) {
    return this.page.getByRole('group', { name, exact: true });
  }
  choose(group, option) {
    return this.tap(this.group(group).getByRole('button', { name: option, exact: true }));
  }
  field(name) {
    return this.page.getByRole('textbox', { name, exact: true });
  }
  card(name) {
    return this.page.getByRole('region', { name, exact: true });
  }
  // Choosing the person: opening the list and choosing in it are two taps.
  async person(label = 'Robin Sample, RT') {
    this.taps += 2;
    await this.page.getByLabel('Recorded by').selectOption({ label });
  }
  async patient(code) {
    await this.tap(this.page.locator('.patient', { hasText: code }));
    await this.card('Readings').waitFor();
  }
  get send() {
    return this.page.locator('.bar .send');
  }
  stand() {
    return this.page.locator('.receipt .stand').first();
  }
  async landed(timeout = 15_000) {
    await this.page.locator('.stand[data-stand="landed"]').first().waitFor({ timeout });
  }
}

// What axe-core finds, as [what, rule, nodes].
const axe = readFileSync(createRequire(process.env.MODULES).resolve('axe-core/axe.min.js'), 'utf8');
export async function judge(page, what, whole = false) {
  const { width, height } = page.viewportSize();
  if (process.env.SHOTS) await page.screenshot({ path: `${process.env.SHOTS}/${what}-${width}x${height}.png`, fullPage: whole });
  await page.evaluate(axe); // by the debugger, which the policy does not bind
  const { violations } = await page.evaluate(() => globalThis.axe.run(document, { resultTypes: ['violations'] }));
  assert.deepEqual(violations.map((v) => [what, v.id, v.nodes.map((node) => node.html.slice(0, 160))]), []);
  assert.ok(await page.evaluate(() => document.documentElement.scrollWidth <= innerWidth), `${what} reaches over the edge`);
}

// Letters of twice the size, as a browser's setting makes them, in a page that is narrow already: nothing reaches over the
// edge, and no control is too small for its words.
export async function fitsLarge({ page }, what) {
  const before = await page.evaluate(() => {
    const size = parseFloat(getComputedStyle(document.body).fontSize);
    document.documentElement.style.fontSize = '200%';
    return size;
  });
  await page.waitForTimeout(150);
  const [size, cut] = await page.evaluate(() => {
    const wide = document.documentElement.scrollWidth > innerWidth;
    const over = wide ? [...document.querySelectorAll('main *, header *')].filter((node) => node.getBoundingClientRect().right > innerWidth + 1) : [];
    const out = wide ? [`the page is ${document.documentElement.scrollWidth} px wide: ${over.slice(0, 4).map((node) => `${node.tagName} ${node.className}`).join(', ')}`] : [];
    for (const node of document.querySelectorAll('button, a, label, summary, h1, h2, h3, dt, dd, [role="cell"], .judged')) {
      const style = getComputedStyle(node);
      if (node.checkVisibility() && style.display !== 'inline' && !node.classList.contains('quiet') && node.scrollWidth > node.clientWidth + 2) {
        out.push(`${node.tagName} ${node.className} "${node.textContent.trim().slice(0, 40)}" ${node.scrollWidth} in ${node.clientWidth}`);
      }
    }
    return [parseFloat(getComputedStyle(document.body).fontSize), out];
  });
  if (process.env.SHOTS) await page.screenshot({ path: `${process.env.SHOTS}/large-${what.replace(/\W+/g, '-').slice(0, 24)}.png` });
  assert.equal(size, 2 * before, `${what}: the letters follow the setting`);
  assert.deepEqual([what, ...cut], [what]);
  await page.evaluate(() => { document.documentElement.style.fontSize = ''; });
}

// work(bedside): a test in a browser of its own, which must end without an error in the console.
export function bedside(name, options, work) {
  test(name, { skip: !name.includes(process.env.WORD ?? ''), timeout: 60_000 }, async () => {
    const one = await Bedside.open(options);
    try {
      await work(one);
    } catch (error) {
      if (process.env.SHOTS) await one.page.screenshot({ path: `${process.env.SHOTS}/failed-${name.replace(/\W+/g, '-').slice(0, 40)}.png` });
      throw error;
    }
    await one.close();
  });
}

// --- The engine and the record server

// A document of the invented day with a value that nobody confirmed: it is held. `tag` makes it a session of its own;
// `patient`: an identifier's value, when it is to be about somebody else; `caller`: headers that say who asks.
export async function sendHeld(tag, patient, caller = {}) {
  const document = JSON.parse(readFileSync(new URL('../../mappings/samples/vitals.session.json', import.meta.url), 'utf8'));
  document.identifier.value += `-${tag}`;
  if (patient) {
    document.patient.identifier.value = patient;
    document.patient.encounter.value = patient.replace('P', 'S');
  }
  const vitals = document.entry.find((one) => one.vitals?.saturation);
  vitals.vitals.saturation.value = 52;
  delete vitals.confirmed;
  const answer = await fetch(`${engine}/sessions`, { method: 'POST', headers: { 'Content-Type': 'application/json', ...caller }, body: JSON.stringify(document) });
  assert.equal(answer.status, 202, await answer.clone().text());
  const { session } = await answer.json();
  for (let i = 0; i < 200; i += 1) {
    const told = await (await fetch(`${engine}/sessions/${session}`, { headers: caller })).json();
    if (told.state === 'held') return session;
    await new Promise((wait) => { setTimeout(wait, 25); });
  }
  return assert.fail('it is not held');
}

// The Observations of a patient with a code, newest first.
export async function observations(code, patient) {
  const who = encodeURIComponent(`https://hill.example/ids/patient|${patient}`);
  const answer = await fetch(`${records}/Observation?subject.identifier=${who}&code=${encodeURIComponent(code)}&_count=200`);
  assert.equal(answer.status, 200, await answer.clone().text());
  const text = await answer.text();
  return { text, all: (JSON.parse(text).entry ?? []).map((one) => one.resource) };
}
