// How heavy the pages are and how fast they feel on a slow phone: a CPU slowed four times and 1.5 Mbit/s with 40 ms each
// way, by the browser's own throttling. tests/bench/pages_bench starts what is needed and this.
import { createRequire } from 'node:module';

const { chromium } = createRequire(process.env.MODULES)('playwright-core');
const engine = process.env.ENGINE;
const kRuns = 5;
const kSlow = { offline: false, latency: 80, downloadThroughput: 1.5e6 / 8, uploadThroughput: 0.75e6 / 8 };

const median = (list) => [...list].sort((a, b) => a - b)[Math.floor(list.length / 2)];

const kFiles = ['/', '/page.js', '/page.css', '/worker.js', '/manifest.webmanifest', '/icon.svg', '/desk', '/desk.js', '/desk.css',
  '/sheet', '/sheet.js', '/sheet.css'];

// Gzipped bytes of each file as it is served.
async function weigh() {
  const weights = new Map();
  for (const path of kFiles) {
    const answer = await fetch(engine + path, { headers: { 'Accept-Encoding': 'gzip' } });
    weights.set(path, Number(answer.headers.get('content-length')));
    await answer.arrayBuffer();
  }
  return weights;
}

// A link for the first patient of the ward list, from its first therapist.
async function handOut() {
  const ward = await (await fetch(`${engine}/ward`)).json();
  const [{ patient }] = ward.patient;
  const therapist = ward.therapist.find((one) => one.role === 'therapist');
  const named = ({ identifier }) => ({ system: identifier.system, value: identifier.value });
  const answer = await fetch(`${engine}/sheets`, { method: 'POST', headers: { 'Content-Type': 'application/json' },
    body: JSON.stringify({ patient: named(patient), therapist: { ...named(therapist), display: therapist.display } }) });
  if (!answer.ok) throw new Error(`no link: ${await answer.text()}`);
  return `/sheet#${(await answer.json()).token}`;
}

async function slowPage(browser) {
  const context = await browser.newContext({ viewport: { width: 390, height: 844 }, hasTouch: true, serviceWorkers: 'block' });
  const page = await context.newPage();
  const session = await context.newCDPSession(page);
  await session.send('Network.enable');
  await session.send('Network.emulateNetworkConditions', kSlow);
  await session.send('Emulation.setCPUThrottlingRate', { rate: 4 });
  // From before the page's own code: the long tasks, and how long each input waited for its next frame.
  await page.addInitScript(() => {
    globalThis.seen = { blocked: 0, input: [] };
    new PerformanceObserver((list) => list.getEntries().forEach((one) => { seen.blocked = Math.max(seen.blocked, one.duration); }))
      .observe({ type: 'longtask', buffered: true });
    new PerformanceObserver((list) => list.getEntries().forEach((one) => { if (one.interactionId) seen.input.push(one.duration); }))
      .observe({ type: 'event', durationThreshold: 16, buffered: true });
  });
  return { context, page };
}

const paint = (page) => page.evaluate(() => performance.getEntriesByName('first-contentful-paint')[0]?.startTime ?? NaN);
const seenOf = (page) => page.evaluate(() => globalThis.seen);

async function open(browser, path, ready) {
  const { context, page } = await slowPage(browser);
  await page.goto(engine + path);
  await page.locator(ready).first().waitFor();
  const from = await page.evaluate(() => performance.now());
  return { context, page, painted: await paint(page), usable: from };
}

// Taps `names` one after the other and types into `field`; prints how long each input waited for its next frame. Below the
// 16 ms that the browser reports nothing of, 16 is taken.
async function inputs(what, page, names, field) {
  await page.waitForTimeout(1500);
  await page.evaluate(() => { seen.input.length = 0; seen.blocked = 0; });
  for (const name of names) {
    await page.getByRole('button', { name, exact: true }).first().click();
    await page.waitForTimeout(400);
  }
  if (field) await page.getByRole('textbox', { name: field, exact: true }).pressSequentially('88', { delay: 150 });
  await page.waitForTimeout(800);
  const { input, blocked } = await seenOf(page);
  console.log(`${what}: input to next frame, median ${median(input.length ? input : [16])} ms, worst ${Math.max(16, ...input)} ms of ${input.length} above 16 ms`
    + `   (wanted: under 100); longest task ${blocked.toFixed(0)} ms`);
}

// In the page: a journal of `all` messages, 200 at a time as the engine gives them.
function playTraffic(all) {
  const real = globalThis.fetch;
  const row = (n) => `{"session":"${String(n).padStart(8, '0')}-0000-5000-8000-000000000000","revision":1,"position":${n},"received":"2026-03-02T09:41:00.000Z",`
    + '"targets":[{"target":"main","state":"held","reason":"unconfirmed","reasonText":"a value is improbable and nobody confirmed it; confirm it in a new revision, or release","attempts":0}]}';
  globalThis.fetch = async (path, options) => {
    if (path !== '/traffic') return real(path, options);
    const first = (JSON.parse(options.body).before ?? all + 1) - 1;
    const last = Math.max(1, first - 199);
    return new Response(`{"messages":[${Array.from({ length: first - last + 1 }, (_, i) => row(first - i)).join(',')}]${last > 1 ? `,"next":${last}` : ''}}`);
  };
}

// Scrolls through a million messages: by the wheel, and in leaps as when the scroll bar is dragged.
async function scrollMillion(browser) {
  const context = await browser.newContext({ viewport: { width: 1440, height: 900 }, serviceWorkers: 'block' });
  const page = await context.newPage();
  await page.goto(`${engine}/desk#maps`);
  await page.evaluate(playTraffic, 1_000_000);
  await page.getByRole('link', { name: 'Traffic' }).click();
  await page.locator('.long-rows').waitFor();
  await page.evaluate(() => new Promise((done) => { // to the end of it, so that the page knows all
    const box = document.querySelector('.long');
    const step = () => {
      if (box.querySelector('[aria-rowcount="-1"]') === null) { done(); return; }
      box.scrollTop = box.scrollHeight;
      setTimeout(step, 4);
    };
    step();
  }));
  const session = await context.newCDPSession(page);
  await session.send('Emulation.setCPUThrottlingRate', { rate: 4 });
  await page.evaluate(() => {
    globalThis.seen = { tasks: [], gaps: [] };
    new PerformanceObserver((list) => seen.tasks.push(...list.getEntries().map((one) => one.duration))).observe({ type: 'longtask' });
    let last = performance.now();
    const frame = (now) => {
      seen.gaps.push(now - last);
      last = now;
      requestAnimationFrame(frame);
    };
    requestAnimationFrame(frame);
  });
  await page.mouse.move(700, 600);
  for (let i = 0; i < 60; i += 1) {
    await page.mouse.wheel(0, i % 20 === 19 ? -1200 : 600);
    await page.waitForTimeout(60);
  }
  for (let i = 1; i <= 10; i += 1) {
    await page.evaluate((part) => { const box = document.querySelector('.long'); box.scrollTop = box.scrollHeight * part; }, (i * 0.37) % 1);
    await page.waitForTimeout(300);
  }
  const { tasks, gaps } = await page.evaluate(() => globalThis.seen);
  const rows = await page.locator('.long-rows [role="row"]').count();
  const heap = (await session.send('Runtime.getHeapUsage')).usedSize / 1e6;
  console.log(`desk: a million messages scrolled, ${rows} rows in the page, ${heap.toFixed(0)} MB of script memory; longest task ${Math.max(0, ...tasks).toFixed(0)} ms`
    + ` of ${tasks.length} above 50 ms   (wanted: under 100); frame to frame median ${median(gaps).toFixed(0)} ms, worst ${Math.max(...gaps).toFixed(0)} ms`);
  await context.close();
}

const browser = await chromium.launch({ executablePath: '/usr/bin/chromium', args: process.getuid() === 0 ? ['--no-sandbox'] : [] });
const weights = await weigh();
const sum = (paths) => paths.reduce((all, path) => all + weights.get(path), 0) / 1000;
console.log(`weight of everything, gzipped   ${sum(kFiles).toFixed(1)} kB   (wanted: under 150)`);
console.log(`  of a Round ${sum(kFiles.slice(0, 6)).toFixed(1)} kB, of the desk ${sum(kFiles.slice(5, 9)).toFixed(1)} kB, of a sheet ${sum([...kFiles.slice(9), '/icon.svg']).toFixed(1)} kB`);
const sheet = await handOut();
for (const [name, path, ready] of [['Round', '/', '.patient'], ['desk', '/desk', '.long-rows [role="row"], .room > .none'], ['sheet', sheet, 'button.do']]) {
  const painted = [];
  const usable = [];
  for (let i = 0; i < kRuns; i += 1) {
    const one = await open(browser, path, ready);
    painted.push(one.painted);
    usable.push(one.usable);
    await one.context.close();
  }
  console.log(`${name}: first paint ${median(painted).toFixed(0)} ms, usable ${median(usable).toFixed(0)} ms   (first paint wanted: under 1000; median of ${kRuns})`);
}
{
  const { page, context } = await open(browser, '/', '.patient');
  await page.getByLabel('Recorded by').selectOption({ index: 1 });
  await page.locator('.patient', { hasText: 'P-0103' }).click();
  await page.getByRole('region', { name: 'Readings', exact: true }).waitFor();
  await inputs('Round', page, ['Saturation 95 %', 'Saturation: 1 more', 'Saturation: 1 less', 'Set of 10', 'Pulse: 1 more', 'Breathing rate: 1 more'], 'Pulse');
  const from = await page.evaluate(() => performance.now());
  await page.getByRole('button', { name: 'Progress', exact: true }).click();
  await page.locator('.spot').first().waitFor({ state: 'attached' });
  console.log(`Progress: drawn ${(await page.evaluate(() => performance.now()) - from).toFixed(0)} ms after the tap`);
  await inputs('Progress', page, ['7 days', '30 days', '3 days', 'Today']);
  await context.close();
}
{
  const { page, context } = await open(browser, '/desk', '.long-rows [role="row"]');
  await inputs('desk', page, ['In the chart', 'Held', 'Held']);
  await context.close();
}
{
  const { page, context } = await open(browser, sheet, 'button.do');
  await inputs('sheet', page, [await page.locator('button.do').first().textContent(), 'Breaths: 1 less', 'Breaths: 1 more', 'Best volume, if you looked: 50 more', 'Save the set']);
  await context.close();
}
await scrollMillion(browser);
await browser.close();
