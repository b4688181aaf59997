// The desk as an integration engineer and an auditor meet it.
import assert from 'node:assert/strict';
import { execFileSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { after, before, describe } from 'node:test';
import { bedside, closeBrowser, engine, judge, openBrowser, records, sendHeld } from './bedside.mjs';

before(openBrowser);
after(closeBrowser);

const at = (place = 'traffic') => [`/desk#${place}`, 'h1'];
const name = 'Kim Sample';

// In the page: a journal of `all` messages that answers `size` of them at a time. The session of the n-th begins with n;
// of those that came in since, globalThis.more of them, with "new-".
function playTraffic([all, size]) {
  globalThis.more = 0;
  const real = globalThis.fetch;
  const row = (position) => {
    const n = all - position;
    const name = n < 0 ? `new-${String(-n).padStart(4, '0')}` : String(n).padStart(8, '0');
    return `{"session":"${name}-0000-5000-8000-000000000000","revision":1,"position":${position},"targets":[]}`;
  };
  globalThis.fetch = async (path, options) => {
    if (path !== '/traffic') return real(path, options);
    const before = JSON.parse(options.body).before ?? all + globalThis.more + 1;
    const first = before - 1;
    const last = Math.max(1, first - size + 1);
    let rows = '';
    for (let at = first; at >= last; at -= 1) rows += `${rows && ','}${row(at)}`;
    return new Response(`{"messages":[${rows}]${last > 1 ? `,"next":${last}` : ''}}`, { status: 200 });
  };
}

async function sign(one, button, why) {
  const dialog = one.page.getByRole('dialog');
  assert.ok(await dialog.locator('.send').isDisabled(), 'not without a name and a reason');
  await dialog.getByRole('textbox', { name: 'Your name' }).fill(name);
  await dialog.getByRole('textbox', { name: 'Why' }).fill(why);
  await dialog.getByRole('button', { name: button, exact: true }).click();
  await dialog.waitFor({ state: 'detached' });
}

describe('the desk', { concurrency: 2 }, () => {
  bedside('a held message is found, looked at and given up', { size: 'pc', at: at() }, async (one) => {
    const { page } = one;
    const session = await sendHeld('desk-a');
    await one.choose('Show only', 'Held');
    const row = page.getByRole('row', { name: session.slice(0, 8) });
    await row.getByText('nobody confirmed it').waitFor(); // by itself: the list follows the engine
    await row.getByRole('link').click();
    await page.getByRole('heading', { name: 'What was found' }).waitFor();
    await page.locator('.issues').getByText('52').first().waitFor();
    await one.tap('Give up');
    await sign(one, 'Give up', 'typed at the wrong bed');
    await page.locator('.stand', { hasText: 'Given up' }).first().waitFor();
    await page.locator('.records').getByText('typed at the wrong bed').waitFor();
  });

  bedside('a message that is opened is read once', { at: at() }, async (one) => {
    const { page } = one;
    const session = await sendHeld('desk-once');
    await page.goto(`${engine}/desk#message/${session}/1`);
    await page.getByRole('heading', { name: 'What happened' }).waitFor();
    await page.waitForTimeout(500); // a second one would come at once
    const answer = await fetch(`${engine}/log`, { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify({ session, kind: 'read' }) });
    const { records: reads } = await answer.json();
    assert.deepEqual(reads.map((read) => read.why), ['message with all that became of it']);
  });

  bedside('what is asked of one message is not done to another', { at: at() }, async (one) => {
    const { page } = one;
    const sessions = [await sendHeld('desk-one'), await sendHeld('desk-two')];
    for (const session of sessions) {
      await page.goto(`${engine}/desk#message/${session}/1`);
      await one.tap('Release');
      await page.getByRole('dialog').getByText(`Session ${session.slice(0, 8)}, revision 1, for `).waitFor();
      if (process.env.SHOTS) await page.screenshot({ path: `${process.env.SHOTS}/who-of.png` });
    }
    await page.goBack();
    await page.getByRole('heading', { name: sessions[0].slice(0, 8) }).waitFor();
    assert.equal(await page.getByRole('dialog').count(), 0);
  });

  bedside('the rule and the input of any element light up, and the other way round', { size: 'pc', at: at() }, async (one) => {
    const { page } = one;
    await one.choose('Show only', 'In the chart');
    await page.locator('.long a').first().click();
    const made = page.getByRole('list', { name: 'Bundle' });
    const came = page.getByRole('list', { name: 'Session document' });
    const resource = made.locator('li', { hasText: /Oxygen saturation/ }).last();
    await resource.getByRole('button', { name: /^Unfold/ }).click();
    await resource.getByRole('button', { name: 'Unfold resource' }).click();
    await resource.getByRole('button', { name: 'Unfold valueQuantity' }).click();
    await resource.locator('.line', { hasText: /^value\d/ }).click();
    await page.locator('.rule').getByText(/\.map:\d+/).waitFor();
    const lit = came.locator('.line.lit');
    await lit.first().waitFor();
    assert.match(await page.locator('.rule').textContent(), /from \/entry\/\d+/);
    // Back: the input that lit up leads to what was made of it.
    await lit.last().click();
    await page.locator('.rule').getByText(/elements? made from it, by/).waitFor();
    await made.locator('.line.lit').first().waitFor();
  });

  bedside('a search by patient finds their messages and is in the log', { at: at() }, async (one) => {
    const { page } = one;
    await page.locator('summary').click();
    await page.getByLabel('Patient identifier: value').fill('P-0103');
    await page.getByText('a system and a value').waitFor();
    if (process.env.SHOTS) await page.screenshot({ path: `${process.env.SHOTS}/half.png` });
    await page.getByLabel('Patient identifier: system').fill('https://hill.example/ids/patient');
    assert.equal(await page.getByText('a system and a value').count(), 0);
    await page.getByRole('button', { name: 'Search', exact: true }).click();
    await page.locator('[aria-rowcount]:not([aria-rowcount="-1"])').waitFor();
    await page.waitForFunction(() => document.querySelectorAll('.long-rows [role="row"]').length >= 3);
    assert.doesNotMatch(page.url(), /P-0103/);
    await page.getByLabel('Patient identifier: value').fill('P-9999');
    await page.getByRole('button', { name: 'Search', exact: true }).click();
    await page.getByText('No message fits').waitFor();
    await one.page.getByRole('link', { name: 'Log' }).click();
    await page.getByLabel('Kind').selectOption('read');
    await one.tap('Read');
    await page.getByText("search of a patient's messages").first().waitFor();
  });

  bedside('every kind of record has its words', { at: at('log') }, async (one) => {
    const journal = readFileSync(new URL('../../engine/journal/record.cc', import.meta.url), 'utf8');
    const kinds = [...journal.matchAll(/\{Kind::k\w+, "([a-z-]+)"\}/g)].map(([, kind]) => kind);
    const told = await one.page.getByLabel('Kind').locator('option').evaluateAll((all) => all.map((option) => [option.value, option.textContent]));
    assert.ok(kinds.length > 20);
    assert.deepEqual(told.map(([kind]) => kind).sort(), ['', ...kinds].sort());
    assert.ok(told.every(([kind, words]) => words !== kind));
  });

  bedside('an auditor proves a record and the whole', { at: at('log') }, async (one) => {
    const { page } = one;
    await page.getByLabel('Kind').selectOption('accepted');
    await one.tap('Read');
    one.expected = 'status of 409'; // the second answer, in the browser's own log
    await page.locator('.long-rows .plain').last().click();
    // The tree is signed once a minute, and once when the engine begins: the oldest record lies in that one.
    await page.getByRole('dialog').getByText(/the record lies in it|newer than the latest signed/).waitFor();
    await page.keyboard.press('Escape');
    await one.tap('Verify the journal');
    await page.getByText(/^Sound: \d+ records/).waitFor();
    await one.tap('Make the bundles again and compare');
    const said = await page.getByText(/translations made again/).textContent();
    const [, all, same] = /(\d+) translations made again, (\d+) the same/.exec(said);
    assert.ok(Number(all) >= 4 && all === same, said);
    const [saved] = await Promise.all([page.waitForEvent('download'), one.tap('Save what is listed')]);
    const lines = readFileSync(await saved.path(), 'utf8').trim().split('\n').map((line) => JSON.parse(line));
    assert.ok(lines.length >= 4 && lines.every((line) => line.kind === 'accepted'));
  });

  bedside('a session on the wrong patient is moved, and not without a patient', { at: at() }, async (one) => {
    const { page } = one;
    const session = await sendHeld('wrong-bed');
    await page.goto(`${engine}/desk#message/${session}/1`);
    await one.tap('Move to the right patient');
    const dialog = page.getByRole('dialog');
    const field = (label) => dialog.getByRole('textbox', { name: label });
    assert.equal(await field('Right patient, identifier: system').inputValue(), 'https://hill.example/ids/patient');
    await field('Your name').fill(name);
    await field('Why').fill('charted on the wrong bed');
    assert.ok(await dialog.locator('.send').isDisabled(), 'not without a patient');
    await judge(page, 'move');
    await field('Right patient, identifier: value').fill('P-0101');
    await dialog.getByText('Their stay').click();
    await field('Stay, identifier: value').fill('S-0101');
    await field('Identifier of the new session').fill('right-bed');
    await judge(page, 'move-stay');
    const asked = page.waitForRequest((request) => request.url().endsWith('/move'));
    await dialog.getByRole('button', { name: 'Move', exact: true }).click();
    const { encounter, as } = (await asked).postDataJSON();
    assert.deepEqual([encounter, as], [{ system: 'https://hill.example/ids/stay', value: 'S-0101' }, 'right-bed']);
    await dialog.waitFor({ state: 'detached' });
    const told = page.locator('.banner', { hasText: 'Taken back here as revision 2' });
    const there = await told.getByRole('link').getAttribute('href');
    assert.ok(await told.evaluate((node) => {
      const { top, bottom } = node.getBoundingClientRect();
      return top > 0 && bottom < innerHeight;
    }), 'in sight');
    await judge(page, 'moved');
    await page.getByRole('link', { name: 'Revision 2' }).click();
    await page.getByRole('list', { name: 'Session document' }).getByText('entered-in-error').waitFor();
    await page.getByText('This revision takes the session back').waitFor();
    await page.locator('.stand', { hasText: 'Taken back in the chart' }).waitFor();
    await judge(page, 'moved-back');
    assert.equal(await page.getByRole('button', { name: 'Move to the right patient' }).count(), 0, 'once');
    await page.goto(`${engine}/desk${there}`);
    await page.getByText('and was moved here').waitFor();
  });

  bedside('what takes a moved session back and was given up can be sent after all', { size: 'phone', at: at() }, async (one) => {
    const { page } = one;
    const session = await sendHeld('moved-away', 'P-0104');
    const ask = (deed, words) => fetch(`${engine}/sessions/${session}/${deed}`, { method: 'POST', headers: { 'Content-Type': 'application/json' },
      body: JSON.stringify({ actor: name, why: 'wrong bed', ...words }) });
    assert.ok((await ask('release', {})).ok);
    // What somebody else changed there holds the taking-back.
    let location = '';
    for (let i = 0; i < 200 && !location; i += 1) {
      const told = await (await fetch(`${engine}/sessions/${session}/revisions/1`)).json();
      location = told.targets[0].landing?.find((one) => one.location.startsWith('Observation/'))?.location ?? '';
      [location] = location.split('/_history');
      await new Promise((wait) => { setTimeout(wait, 25); });
    }
    const resource = await (await fetch(`${records}/${location}`)).json();
    const changed = await fetch(`${records}/${location}`, { method: 'PUT', headers: { 'Content-Type': 'application/fhir+json' },
      body: JSON.stringify({ ...resource, note: [{ text: 'seen by somebody else' }] }) });
    assert.equal(changed.status, 200, `${location} ${await changed.clone().text()}`);
    const moved = await ask('move', { to: { system: 'https://hill.example/ids/patient', value: 'P-0101' } });
    assert.ok(moved.ok, await moved.clone().text());
    await page.goto(`${engine}/desk#message/${session}/2`);
    await one.tap('Give up');
    await sign(one, 'Give up', 'nothing is there');
    await page.locator('.stand', { hasText: 'Given up' }).first().waitFor();
    assert.equal(await page.getByRole('button', { name: 'Release' }).count(), 0);
    await judge(page, 'moved-away');
    await one.tap('Take back after all');
    await sign(one, 'Take back after all', 'something was there');
    await page.locator('.records').getByText('Translated again').waitFor();
  });

  bedside('what waits for a server that is not configured any more can be given up', { at: at() }, async (one) => {
    const { page } = one;
    const session = await sendHeld('nowhere');
    await page.route('**/targets', (route) => route.fulfill({ json: [{ target: 'main', state: 'not-configured', backlog: { checked: 1 } }] }));
    await page.route(`**/sessions/${session}*/**`, async (route) => {
      const told = await (await route.fetch()).json();
      told.targets[0].state = 'checked';
      await route.fulfill({ json: told });
    });
    await page.goto(`${engine}/desk#message/${session}/1`);
    await page.getByText('not in the configuration').waitFor();
    const deeds = page.getByRole('region', { name: 'For main' }).locator('.chip');
    assert.deepEqual(await deeds.allTextContents(), ['Give up']);
    await judge(page, 'nowhere');
  });

  bedside('of a message whose bodies were destroyed, what happened is still told', { size: 'phone', at: at() }, async (one) => {
    const { page } = one;
    const session = await sendHeld('destroyed', 'P-0777');
    await page.goto(`${engine}/desk#message/${session}/1`);
    const document = page.getByRole('list', { name: 'Session document' });
    await document.waitFor();
    const [program, ...words] = JSON.parse(process.env.SHRED);
    execFileSync(program, [...words, 'https://hill.example/ids/patient|P-0777']);
    await page.reload();
    await page.locator('.banner', { hasText: 'is not here any more' }).waitFor();
    await page.locator('.records').getByText('Taken in').waitFor();
    assert.equal(await document.count(), 0);
    assert.equal(await page.getByRole('button', { name: 'Translate again' }).count(), 0, 'nothing can be made of it');
    assert.equal(await page.getByRole('button', { name: 'Give up' }).count(), 1);
    await judge(page, 'destroyed');
  });

  bedside('a record server is asked what it can do, paused and resumed', { at: at('targets') }, async (one) => {
    const { page } = one;
    await one.tap('Ask what it can do');
    await page.getByText('Everything that is needed is there').waitFor();
    await one.tap('Pause');
    await sign(one, 'Pause', 'its disk is changed');
    await page.getByText('its disk is changed').waitFor();
    await one.tap('Resume');
    const dialog = page.getByRole('dialog');
    assert.equal(await dialog.getByRole('textbox', { name: 'Your name' }).inputValue(), name, 'the name is kept');
    await dialog.getByRole('textbox', { name: 'Why' }).fill('it is back');
    await dialog.getByRole('button', { name: 'Resume', exact: true }).click();
    await page.locator('.stand', { hasText: 'Sending' }).waitFor();
  });

  bedside('a million messages: only the rows in sight are in the page, and each is reached', { size: 'pc', at: ['/desk#maps', 'h1'] }, async (one) => {
    const { page } = one;
    const kAll = 1_000_000;
    await page.evaluate(playTraffic, [kAll, 5_000]);
    await one.page.getByRole('link', { name: 'Traffic' }).click();
    const table = page.getByRole('table', { name: 'Messages, the latest first' });
    await table.waitFor();
    assert.equal(await table.getAttribute('aria-rowcount'), '-1', 'nobody knows yet how many there are');
    // Dragged to the end, again and again, until there is nothing behind it.
    await page.evaluate(() => new Promise((done) => {
      const box = document.querySelector('.long');
      const table = box.querySelector('[role="table"]');
      const step = () => {
        if (table.getAttribute('aria-rowcount') !== '-1') { done(); return; }
        box.scrollTop = box.scrollHeight;
        setTimeout(step, 5);
      };
      step();
    }));
    assert.equal(await table.getAttribute('aria-rowcount'), String(kAll + 1));
    // The row of a number says so itself: its session begins with the number.
    const fits = ([index, text]) => text.includes(String(index - 2).padStart(8, '0'));
    // What is in sight once it is drawn: the box has moved before the page has heard of it, and is empty until then.
    const shown = async (what) => {
      const sight = await page.waitForFunction(() => {
        const box = document.querySelector('.long').getBoundingClientRect();
        const rows = [...document.querySelectorAll('.long-rows [role="row"]')].filter((row) => {
          const at = row.getBoundingClientRect();
          return at.bottom > box.top + 40 && at.top < box.bottom;
        }).map((row) => [Number(row.getAttribute('aria-rowindex')), row.textContent]);
        return rows.length > 5 && !rows.some(([, text]) => text === '…') ? rows : false;
      });
      const rows = await sight.jsonValue();
      assert.ok(rows.every(fits), `${what}: ${JSON.stringify(rows.slice(0, 3))}`);
      return rows;
    };
    await one.page.locator('.long').focus();
    await page.keyboard.press('End');
    await page.waitForFunction(() => document.activeElement.closest('[role="row"]')?.ariaRowIndex === '1000001');
    assert.equal((await shown('the end')).at(-1)[0], kAll + 1);
    await page.keyboard.press('ArrowUp');
    await page.waitForFunction(() => document.activeElement.closest('[role="row"]')?.ariaRowIndex === '1000000');
    await page.keyboard.press('Home');
    await page.waitForFunction(() => document.activeElement.closest('[role="row"]')?.ariaRowIndex === '2');
    for (const key of ['PageDown', 'PageDown', 'ArrowDown']) await page.keyboard.press(key);
    assert.ok((await shown('a page further'))[0][0] > 2);
    await page.evaluate(() => { const box = document.querySelector('.long'); box.scrollTop = box.scrollHeight / 2; });
    const [[middle]] = await shown('the middle');
    assert.ok(Math.abs(middle - kAll / 2) < kAll / 100, `${middle} is about the middle`);
    const turned = await page.locator('.long').evaluate((box) => box.scrollTop);
    await page.mouse.move(700, 600);
    await page.mouse.wheel(0, 560); // ten rows of 56 px, not a part of the whole
    await page.waitForFunction((from) => document.querySelector('.long').scrollTop >= from + 559, turned);
    const [[later]] = await shown('a turn of the wheel');
    assert.ok(later - middle >= 9 && later - middle <= 11, `${later} after ${middle}`);
    const nodes = await page.evaluate(() => document.querySelectorAll('.long-rows [role="row"]').length);
    console.log(`# ${kAll} messages, ${nodes} rows in the page`);
    assert.ok(nodes < 60, `${nodes} rows in the page`);
    await judge(page, 'a-million');
  });

  bedside('a held row is whole on a phone, with its tries and its reason', { at: ['/desk#maps', 'h1'] }, async (one) => {
    const { page } = one;
    const why = 'the record server did not answer this message several times; it is tried again by itself';
    const leg = (target) => ({ target, state: 'held', reason: 'no-answer', reasonText: why, attempts: 5, next: '2027-01-15T12:40:36Z' });
    await page.route('**/traffic', (route) => route.fulfill({ json: { messages: [1, 2].map((n) => ({
      session: `0000000${n}-0000-5000-8000-000000000000`, revision: 1, received: '2027-01-15T08:00:00Z', position: n,
      targets: n === 1 ? [leg('main')] : [{ target: 'main', state: 'landed' }, { target: 'registry', state: 'checked' }, leg('research')] })) } }));
    await page.getByRole('link', { name: 'Traffic' }).click();
    const said = page.locator('.long-rows .said').first();
    // Of several record servers each says how it stands, the held one first.
    const several = page.locator('.long-rows .said').last();
    assert.match((await several.innerText()).replace(/\s+/g, ' '), /^research Held main In the chart registry Checked$/);
    assert.ok(await several.evaluate((node) => node.scrollHeight <= node.clientHeight), 'cut off');
    await said.getByText('tried 5 times').waitFor();
    assert.match(await said.innerText(), /^Held\s+tried 5 times, next 2027-01-15 [\d:]+\s+the record server/);
    await judge(page, 'traffic-held');
    assert.ok(await said.evaluate((node) => [node, ...node.children].every((part) => part.scrollHeight <= part.clientHeight)), 'cut off');
  });

  bedside('what comes in moves nothing that is being read', { size: 'pc', at: ['/desk#maps', 'h1'] }, async (one) => {
    const { page } = one;
    await page.evaluate(playTraffic, [2_000, 200]);
    await one.page.getByRole('link', { name: 'Traffic' }).click();
    await page.locator('.long').evaluate((box) => { box.scrollTop = 56 * 50; });
    await page.locator('[data-row="50"]').waitFor();
    const top = () => page.locator('.long-rows [role="row"]', { hasText: '00000050' }).evaluate((row) => row.getBoundingClientRect().top);
    const before = await top();
    await page.evaluate(() => { globalThis.more = 3; }); // three came in
    await sendHeld('moves'); // the page looks when the engine says that something came in
    await page.locator('[data-row="53"]', { hasText: '00000050' }).waitFor({ timeout: 20_000 });
    assert.ok(Math.abs(await top() - before) < 2, `it stands at ${await top()} and stood at ${before}`);
    await page.locator('.long').evaluate((box) => { box.scrollTop = 0; });
    await page.locator('[data-row="0"]', { hasText: 'new-0003' }).waitFor();
  });

  bedside('a page that nobody sees keeps no connection, and one that was turned away asks again', { at: ['/desk#maps', 'h1'] }, async (one) => {
    const { page } = one;
    one.expected = 'status of 502'; // in the browser's own log
    const ended = page.waitForEvent('requestfailed', (request) => request.url().endsWith('/events'));
    const see = (hidden) => page.evaluate((value) => {
      Object.defineProperty(document, 'hidden', { configurable: true, value });
      document.dispatchEvent(new Event('visibilitychange'));
    }, hidden);
    await see(true);
    await ended;
    let turned = 0;
    await page.route('**/events', (route) => {
      turned += 1;
      return turned === 1 ? route.fulfill({ status: 502, body: '' }) : route.continue();
    });
    await see(false);
    await page.getByText('Engine away').waitFor();
    await page.getByText('Live').waitFor();
    assert.equal(turned, 2);
  });

  bedside('what is refused is said', { at: at('message/00000000-0000-5000-8000-000000000000/1') }, async (one) => {
    one.expected = 'status of 404'; // for the session and for the message, in the browser's own log
    await one.page.getByText('there is no such').first().waitFor();
  });

  for (const [size, scheme] of [['phone', 'light'], ['tablet', 'dark'], ['pc', 'light']]) {
    bedside(`no accessibility rule is broken: desk, ${size}, ${scheme}`, { size, scheme, at: at() }, async (one) => {
      const { page } = one;
      const session = await sendHeld(`desk-${size}-${scheme}`);
      await page.getByRole('row', { name: session.slice(0, 8) }).waitFor();
      await judge(page, `traffic-${scheme}`);
      await page.goto(`${engine}/desk#message/${session}/1`);
      await page.locator('.tree').first().waitFor();
      await page.getByRole('list', { name: 'Session document' }).locator('.line').last().click();
      await judge(page, `message-${scheme}`, true);
      await one.tap('Translate again');
      await judge(page, `who-${scheme}`);
      await page.keyboard.press('Escape');
      for (const room of ['targets', 'maps', 'log']) {
        await page.goto(`${engine}/desk#${room}`);
        await page.waitForTimeout(400);
        if (room === 'targets') await one.tap('Ask what it can do');
        if (room === 'log') await one.tap('Read');
        await page.waitForTimeout(600);
        await judge(page, `${room}-${scheme}`);
      }
    });
  }
});
