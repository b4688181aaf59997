// The Round page as a therapist meets it. tests/browser/run starts what is needed and this.
import assert from 'node:assert/strict';
import { after, before, describe, test } from 'node:test';
import { bedside, closeBrowser, engine, judge, observations, openBrowser } from './bedside.mjs';

const kLoinc = { saturation: '59408-5', flow: '3151-8', pulse: '8867-4' };

before(openBrowser);
after(closeBrowser);

// A zone in which it is so many hours just now: the patient is awake, whenever the test runs.
function zoneAt(hour) {
  const east = ((hour - new Date().getUTCHours() + 36) % 24) - 12; // -12 to 11
  return `Etc/GMT${east <= 0 ? '+' : '-'}${Math.abs(east)}`; // POSIX counts westwards
}

describe('the Round page', { concurrency: 2 }, () => {
  bedside('six entries are in the chart after fewer than 25 taps', {}, async (one) => {
    await one.person();
    await one.patient('P-0103');
    await one.tap('Saturation 95 %');
    await one.tap(one.page.getByRole('button', { name: /^Oxygen as before/ }));
    await one.tap('Breath of 1500 millilitres, the goal');
    for (let i = 0; i < 4; i += 1) await one.tap('Another breath of 1500 mL');
    await one.tap('Set of 10');
    await one.choose('Position', 'Sitting in a chair');
    await one.choose('Breathlessness, Borg 0 to 10', '3');
    await one.tap('How much 200 mL');
    await one.tap(one.send);
    await one.landed();
    assert.equal(await one.card('Recorded').locator('.entry').count(), 6);
    assert.ok(one.taps < 25, `${one.taps} taps`);
    console.log(`# ${one.taps} taps`);
    const { all } = await observations(kLoinc.saturation, 'P-0103');
    assert.ok(all.some((resource) => resource.valueQuantity?.value === 95), 'the saturation is in the chart');
  });

  bedside('what is due this hour is told, and is less by what was recorded', { zone: zoneAt(10) }, async (one) => {
    const { page } = one;
    await one.person();
    await one.patient('P-0107');
    const due = page.locator('.due');
    await due.getByText('of 10 ordered breaths').waitFor();
    const left = async () => Number(/(\d+) of 10/.exec(await due.textContent())[1]);
    const before = await left();
    await due.getByRole('button', { name: 'To the exerciser' }).click();
    await one.tap(/^Breath of 1000 millilitres/);
    await one.tap(one.send);
    await page.waitForFunction((wanted) => document.querySelector('.due').textContent.includes(`${wanted} of 10`), before - 1);
  });

  bedside('a wristband is scanned where the browser can', { camera: 'P-0108' }, async (one) => {
    await one.person();
    await one.tap('Scan with the camera');
    await one.page.getByRole('heading', { name: 'Rowan Example' }).waitFor();
    assert.equal(await one.page.getByRole('dialog').count(), 0);
    assert.ok(await one.page.evaluate(() => globalThis.tracks.every((track) => track.readyState === 'ended')), 'the camera is let go');
  });

  bedside("a rating's words are the site's", {}, async (one) => {
    await one.person();
    await one.patient('P-0101');
    await one.choose('Breathlessness, Borg 0 to 10', '3');
    await one.card("The patient's rating").getByText('3: words of this site').waitFor();
  });

  bedside('what waits without a network is sealed, outlives a reload, and lands later', {}, async (one) => {
    const { page, context } = one;
    await one.person('Jo Sample, PT');
    await page.evaluate(async () => { await navigator.serviceWorker.ready; });
    await one.patient('P-0104');
    await context.setOffline(true);
    await one.tap('Saturation: 1 more');
    await one.field('Saturation').fill('93');
    await one.card('Note').getByRole('textbox').fill('Unconnected words');
    await one.tap(one.send);
    await one.page.locator('.stand[data-stand="waiting"]').waitFor();
    await one.card('Readings').getByRole('textbox', { name: 'Pulse' }).fill('88'); // half a card, not sent

    // The ward list, the session and the draft, the last of them a moment after it was typed.
    const kept = await (await page.waitForFunction(() => new Promise((resolve, reject) => {
      const asked = indexedDB.open('chartferry');
      asked.onerror = () => reject(asked.error);
      asked.onsuccess = () => {
        const all = asked.result.transaction('kept').objectStore('kept');
        const values = all.getAll();
        const names = all.getAllKeys();
        values.onsuccess = () => { names.onsuccess = () => resolve(names.result.length >= 3 && [names.result, values.result.map((value) =>
          [Object.keys(value), new TextDecoder('latin1').decode(value.bytes)])]); };
      };
    }))).jsonValue();
    const text = JSON.stringify(kept);
    for (const secret of ['P-0104', 'Elm', 'Unconnected', 'saturation', 'TherapySession']) {
      assert.ok(!text.includes(secret), `'${secret}' stands readable in the browser's files`);
    }

    await page.reload();
    await one.patient('P-0104');
    await one.page.locator('.stand[data-stand="waiting"]').waitFor();
    assert.equal(await one.field('Pulse').inputValue(), '88');
    await context.setOffline(false);
    await one.landed(30_000);
    assert.ok((await observations(kLoinc.saturation, 'P-0104')).all.some((resource) => resource.valueQuantity?.value === 93));
  });

  bedside('impossible and improbable values are told at once, and nothing goes unconfirmed', {}, async (one) => {
    await one.person();
    await one.patient('P-0105');
    await one.field('Saturation').fill('104');
    await one.card('Readings').getByText('is impossible').waitFor();
    await one.tap(one.send);
    await one.page.locator('.bar-said', { hasText: 'Not sent yet' }).waitFor();
    await one.field('Saturation').fill('52');
    await one.card('Readings').getByText('is outside the usual').waitFor();
    await one.tap(one.send);
    assert.equal(await one.page.locator('.receipt').count(), 0, 'not recorded without a word');
    await one.tap('It is right');
    await one.tap(one.send);
    await one.landed();
  });

  bedside('what only the engine can see is asked before it is sent', {}, async (one) => {
    await one.person();
    await one.patient('P-0106');
    await one.field('Saturation').fill('91');
    await one.tap(one.send);
    await one.landed();
    await one.field('Saturation').fill('74'); // a fall of 17 within minutes
    await one.card('Readings').getByText('large change from the last reading').waitFor();
    await one.tap('It is right');
    await one.card('Readings').getByText('You confirmed it').waitFor();
  });

  bedside('the last values are shown and never recorded by themselves', {}, async (one) => {
    await one.person();
    await one.patient('P-0103');
    const before = (await observations(kLoinc.pulse, 'P-0103')).all.length;
    await one.page.waitForFunction(() => document.querySelector('input[placeholder]:not([placeholder=""])'));
    assert.equal(await one.field('Pulse').inputValue(), '');
    assert.notEqual(await one.field('Pulse').getAttribute('placeholder'), '');
    await one.field('Breathing rate').fill('17');
    await one.tap(one.send);
    await one.landed();
    assert.equal((await observations(kLoinc.pulse, 'P-0103')).all.length, before);
  });

  bedside('a decimal comma is a decimal point, and its digits stay', {}, async (one) => {
    await one.person();
    await one.patient('P-0101');
    await one.page.getByLabel('Oxygen device').selectOption({ label: 'Nasal cannula' });
    await one.field('Oxygen flow').fill('1,50');
    await one.tap(one.send);
    await one.landed();
    assert.match((await observations(kLoinc.flow, 'P-0101')).text, /"value":\s*1\.50\b/);
  });

  bedside('the whole round goes by keyboard, the patient by a wristband reader', { size: 'pc' }, async (one) => {
    const { page } = one;
    const focused = () => page.evaluate(() => {
      const at = document.activeElement;
      return at.getAttribute('aria-label') ?? at.labels?.[0]?.textContent ?? at.textContent;
    });
    const tabTo = async (wanted, most = 60) => {
      for (let i = 0; i < most; i += 1) {
        if ((await focused()).includes(wanted)) return;
        await page.keyboard.press('Tab');
      }
      assert.fail(`Tab does not reach ${wanted}`);
    };
    assert.equal(await page.evaluate(() => document.activeElement.id), 'search', 'a reader types into the search');
    await page.keyboard.press('Shift+Tab');
    await page.keyboard.type('Kim');
    await page.keyboard.press('Tab');
    await page.keyboard.type('nobody');
    await page.keyboard.press('Enter');
    await page.getByText('Nobody on this ward list has').waitFor();
    await page.keyboard.type('p-0107'); // over the selected text
    await page.keyboard.press('Enter');
    await one.card('Readings').waitFor();
    await tabTo('Saturation 96 %');
    await page.keyboard.press('Space');
    assert.equal(await one.field('Saturation').inputValue(), '96');
    await page.keyboard.press('Shift+Tab');
    await tabTo('Pulse');
    await tabTo('In your words', 200);
    await page.keyboard.type('By keyboard alone');
    await tabTo('Send 2 cards', 30);
    await page.keyboard.press('Enter');
    await one.landed();
  });

  bedside('markup and a very long text in a note are text', {}, async (one) => {
    const { page } = one;
    await one.person();
    await one.patient('P-0108');
    const markup = '<img src=x onerror="document.title=1"><script>document.title=2</script>{{1+1}}';
    const note = one.card('Note').getByRole('textbox');
    await note.fill(`${markup}${'ä'.repeat(10_001 - markup.length)}`);
    await one.card('Note').getByText('10001 of at most 10000').waitFor();
    await one.tap(one.send);
    assert.equal(await page.locator('.receipt').count(), 0);
    await note.fill(`${markup}${'ä'.repeat(10_000 - markup.length)}`);
    await one.tap(one.send);
    await one.landed();
    assert.equal(await page.locator('img, main script').count(), 0);
    assert.equal(await page.title(), 'Round');
    assert.ok((await page.locator('.entry-words').first().textContent()).includes(markup));
    assert.ok(await page.evaluate(() => document.documentElement.scrollWidth <= innerWidth), 'nothing reaches over the edge');
  });

  bedside('a name from right to left stands as it is written', {}, async (one) => {
    await one.person();
    const name = 'مثال على اسم';
    await one.tap(one.page.locator('.patient', { hasText: name }));
    const title = one.page.getByRole('heading', { name, exact: true });
    await title.waitFor();
    assert.equal(await title.evaluate((node) => getComputedStyle(node).direction), 'rtl');
    assert.ok(await one.page.evaluate(() => document.documentElement.scrollWidth <= innerWidth), 'nothing reaches over the edge');
  });

  bedside('an entry is corrected, then withdrawn, each with a reason', { size: 'tablet' }, async (one) => {
    await one.person();
    await one.patient('P-0102');
    await one.field('Pulse').fill('131');
    await one.tap(one.send);
    await one.landed();
    const settled = async (status) => {
      for (let i = 0; i < 100; i += 1) {
        const found = (await observations(kLoinc.pulse, 'P-0102')).all;
        if (found.some((resource) => resource.status === status)) return found;
        await one.page.waitForTimeout(100);
      }
      return assert.fail(`no ${status} pulse in the chart`);
    };
    await one.tap(one.page.locator('.entry').first());
    const dialog = one.page.getByRole('dialog');
    await dialog.getByRole('textbox', { name: 'Pulse' }).fill('113');
    assert.ok(await dialog.locator('.send').isDisabled(), 'not without a reason');
    await one.tap(dialog.getByRole('button', { name: 'Mistyped' }));
    await one.tap(dialog.locator('.send'));
    const corrected = (await settled('corrected')).filter((resource) => resource.status === 'corrected');
    assert.equal(corrected[0].valueQuantity.value, 113);
    await one.tap(one.page.locator('.entry').first());
    await one.tap(dialog.getByRole('checkbox', { name: /Withdraw the entry/ }));
    await one.tap(dialog.getByRole('button', { name: 'Wrong patient' }));
    await one.tap(dialog.locator('.send'));
    await settled('entered-in-error');
  });

  test('a strict policy, and nothing inline', async () => {
    const answer = await fetch(engine);
    const policy = answer.headers.get('content-security-policy');
    assert.match(policy, /default-src 'none'/);
    assert.doesNotMatch(policy, /unsafe|https?:|\*/);
    assert.doesNotMatch(await answer.text(), /<style|style=|<script>|\bon[a-z]+=/);
  });

  for (const [size, scheme] of [['phone', 'light'], ['tablet', 'light'], ['pc', 'light'], ['phone', 'dark']]) {
    bedside(`no accessibility rule is broken: ${size}, ${scheme}`, { size, scheme }, async (one) => {
      const { page } = one;
      const look = (what) => judge(page, `${what}-${scheme}`, what === 'round');
      await look('list');
      await one.person();
      await one.patient('P-0109');
      await one.field('Saturation').fill('104');
      await one.field('Breathing rate').fill('64');
      await one.page.getByLabel('Oxygen device').selectOption({ label: 'Nasal cannula' });
      await one.choose('Which', 'Walking');
      await one.tap('Effort begins');
      await one.tap('Effort ends');
      await one.choose('Position', 'Prone');
      await one.tap('Breath of 1250 millilitres');
      await one.card('Note').getByRole('textbox').fill('x'.repeat(9_500));
      await one.page.locator('.recovery').waitFor();
      await look('round');
      await one.field('Saturation').fill('97');
      await one.field('Breathing rate').fill('18');
      await one.tap(one.card('Activity').getByRole('button', { name: 'Activity: clear' }));
      await one.tap(one.send);
      await one.landed();
      await look('sent');
      await one.page.locator('.entry').first().click();
      await look('correction');
    });
  }
});
