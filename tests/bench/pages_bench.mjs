// How heavy the pages are and how fast they feel on a slow phone: a CPU slowed four times and 1.5 Mbit/s with 40 ms each
// way, by the browser's own throttling. tests/bench/pages_bench starts what is needed and this.
import { createRequire } from 'node:module';

const { chromium } = createRequire(process.env.MODULES)('playwright-core');
const engine = process.env.ENGINE;
const kRuns = 5;
const kSlow = { offline: false, latency: 80, downloadThroughput: 1.5e6 / 8, uploadThroughput: 0.75e6 / 8 };

const median = (list) => [...list].sort((a, b) => a - b)[Math.floor(list.length / 2)];

async function weigh() {
  let all = 0;
  for (const path of ['/', '/page.js', '/page.css', '/worker.js', '/manifest.webmanifest', '/icon.svg', '/desk', '/desk.js', '/desk.css']) {
    const answer = await fetch(engine + path, { headers: { 'Accept-Encoding': 'gzip' } });
    all += Number(answer.headers.get('content-length'));
    await answer.arrayBuffer();
  }
  return all;
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

const browser = await chromium.launch({ executablePath: '/usr/bin/chromium', args: process.getuid() === 0 ? ['--no-sandbox'] : [] });
console.log(`weight of everything, gzipped   ${(await weigh() / 1000).toFixed(1)} kB   (wanted: under 150)`);
for (const [name, path, ready] of [['Round', '/', '.patient'], ['desk', '/desk', 'tbody tr, .room .none']]) {
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
const { page } = await open(browser, '/', '.patient');
await page.getByLabel('Recorded by').selectOption({ index: 1 });
await page.locator('.patient').first().click();
await page.getByRole('region', { name: 'Readings', exact: true }).waitFor();
await page.waitForTimeout(1500);
await page.evaluate(() => { seen.input.length = 0; seen.blocked = 0; });
for (const name of ['Saturation 95 %', 'Saturation: 1 more', 'Saturation: 1 less', 'Set of 10', 'Pulse: 1 more', 'Breathing rate: 1 more']) {
  await page.getByRole('button', { name, exact: true }).click();
  await page.waitForTimeout(400);
}
await page.getByRole('textbox', { name: 'Pulse', exact: true }).pressSequentially('88', { delay: 150 });
await page.waitForTimeout(800);
const { input, blocked } = await seenOf(page);
console.log(`Round: input to next frame, median ${median(input.length ? input : [16])} ms, worst ${Math.max(16, ...input)} ms of ${input.length} above 16 ms   (wanted: under 100); longest task ${blocked.toFixed(0)} ms`);
await browser.close();
