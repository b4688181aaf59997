// What a ward does to a page: large letters, two tabs, the way back, a full device, a clock that is hours off.
import assert from 'node:assert/strict';
import { after, before, describe } from 'node:test';
import { bedside, closeBrowser, engine, fillUp, fitsLarge, observations, openBrowser, records, sendHeld } from './bedside.mjs';

const kPulse = '8867-4';
const kBreathingRate = '9279-1';
const kMarkup = '<img src=x onerror="document.title=1"><script>document.title=2</script>';

before(openBrowser);
after(closeBrowser);

const has = async (code, patient, value) => (await observations(code, patient)).all
  .some((one) => one.valueQuantity?.value === value && one.status !== 'entered-in-error');

describe('a rough day', { concurrency: 2 }, () => {
  bedside('letters of twice the size are not cut: Round and Progress', {}, async (one) => {
    await fitsLarge(one, 'the ward list');
    await one.person();
    await one.patient('P-0103');
    await one.field('Saturation').fill('52');
    await one.card('Readings').getByText('is outside the usual').waitFor();
    await fitsLarge(one, 'the round');
    await one.tap('Sheet for the patient');
    await one.page.locator('.paper').waitFor();
    await fitsLarge(one, 'the sheet to hand out');
    await one.tap('Progress');
    await one.page.locator('.figures').waitFor();
    await fitsLarge(one, 'the progress');
  });

  bedside('letters of twice the size are not cut: the desk', { at: ['/desk#traffic', 'h1'] }, async (one) => {
    const { page } = one;
    const session = await sendHeld('large');
    for (const [place, there] of [['traffic', '.long-rows'], [`message/${session}/1`, '.tree'], ['targets', '.facts'], ['maps', '.facts'],
      ['try-out', '.editor textarea'], ['log', '.log-form']]) {
      await page.goto(`${engine}/desk#${place}`);
      await page.locator(there).first().waitFor();
      await fitsLarge(one, place);
    }
  });

  bedside('two tabs at once record for one patient, and both entries land in one session', {}, async (one) => {
    await one.person();
    await one.patient('P-0101');
    const other = await one.context.newPage();
    await other.goto(engine);
    await other.locator('.patient', { hasText: 'P-0101' }).click();
    await other.getByRole('textbox', { name: 'Breathing rate', exact: true }).fill('21');
    await one.field('Pulse').fill('71');
    await Promise.all([one.tap(one.send), other.locator('.bar .send').click()]);
    for (const page of [one.page, other]) {
      await page.waitForFunction(() => document.querySelectorAll('.receipt').length === 1 && document.querySelectorAll('.receipt .entry').length >= 2
        && document.querySelectorAll('.receipt .dot:not(.is-landed)').length === 0, null, { timeout: 20_000 });
    }
    assert.ok(await has(kPulse, 'P-0101', 71) && await has(kBreathingRate, 'P-0101', 21));
    await other.close();
  });

  bedside('a session that was moved to the right patient shows nothing any more, and what is recorded next is another one', {}, async (one) => {
    const { page } = one;
    await one.person();
    await one.patient('P-0105');
    await one.field('Pulse').fill('62');
    await one.tap(one.send);
    await one.landed();
    const session = await one.stand().getAttribute('data-session');
    const answer = await fetch(`${engine}/sessions/${session}/move`, { method: 'POST', headers: { 'Content-Type': 'application/json' },
      body: JSON.stringify({ to: { system: 'https://hill.example/ids/patient', value: 'P-0109' }, why: 'charted on the wrong bed', actor: 'Kim Sample' }) });
    assert.equal(answer.status, 202, await answer.text());
    one.expected = 'status of 409'; // in the browser's own log
    // The device does not know: its next entry would have gone into the session that is gone.
    await one.field('Breathing rate').fill('22');
    await one.tap(one.send);
    await page.getByText('Taken back as a whole').waitFor();
    await page.getByText('charted on the wrong bed').waitFor();
    await one.landed();
    assert.equal(await page.locator('.receipt .entry').count(), 1);
    assert.doesNotMatch(await page.locator('.receipts').textContent(), /62/);
    assert.ok(await has(kBreathingRate, 'P-0105', 22) && await has(kPulse, 'P-0109', 62));
    await page.reload();
    await one.patient('P-0105');
    await page.waitForTimeout(500); // the last values are there
    assert.notEqual(await one.field('Pulse').getAttribute('placeholder'), '62');
  });

  bedside('the way back leads to the ward list, and what was begun is there again', {}, async (one) => {
    const { page } = one;
    await one.person();
    await one.patient('P-0102');
    await one.field('Pulse').fill('77');
    await one.tap('Progress');
    await page.goBack();
    await page.locator('.patient').first().waitFor();
    assert.equal(await page.getByRole('heading', { name: 'Beech Example' }).count(), 0);
    await page.goForward(); // nobody is opened by the address
    assert.ok(await page.locator('.patient').first().isVisible());
    assert.doesNotMatch(page.url(), /P-0102|Beech/);
    await one.tap(page.locator('.patient', { hasText: 'P-0102' }));
    await one.tap('Round');
    await page.waitForFunction(() => [...document.querySelectorAll('input')].some((field) => field.value === '77'));
    await one.tap(one.card('Readings').getByRole('button', { name: /clear/ }));
  });

  bedside('a device without room says so, keeps what is typed, and sends it when there is room', {}, async (one) => {
    const { page } = one;
    await one.person();
    await one.patient('P-0107');
    await one.field('Pulse').fill('73');
    await page.waitForTimeout(200); // the draft is kept before
    await page.evaluate(fillUp);
    await one.tap(one.send);
    await page.locator('.bar-said', { hasText: 'no room to keep' }).waitFor();
    assert.equal(await one.field('Pulse').inputValue(), '73');
    assert.equal(await page.locator('.receipt').count(), 0);
    await page.evaluate(() => globalThis.room());
    await one.tap(one.send);
    await one.landed();
    assert.ok(await has(kPulse, 'P-0107', 73));
  });

  bedside('a clock that is five hours off is told, and the chart has the true time', {}, async (one) => {
    const { page } = one;
    await page.clock.install({ time: Date.now() + 5 * 3_600_000 });
    await page.reload();
    await page.getByText("This device's clock is 300 minutes fast.").waitFor();
    await one.person();
    await one.patient('P-0108');
    await one.field('Pulse').fill('66');
    await one.tap(one.send);
    await one.landed();
    const found = (await observations(kPulse, 'P-0108')).all.find((resource) => resource.valueQuantity?.value === 66);
    const off = Math.abs(Date.parse(found.effectiveDateTime) - Date.now());
    assert.ok(off < 120_000, `the chart is ${off} ms off`);
  });

  bedside('a note in any script lands letter by letter', {}, async (one) => {
    await one.person();
    await one.patient('P-0104');
    const words = '👩🏽‍⚕️ 🫁 سعال جاف – 咳嗽, e\u0301';
    await one.card('Note').getByRole('textbox').fill(words);
    await one.tap(one.send);
    await one.landed();
    const answer = await (await fetch(`${records}/Observation?_count=500`)).json();
    assert.ok(answer.entry.some(({ resource }) => resource.valueString === words));
    assert.ok((await one.page.locator('.entry-words').first().textContent()).includes(words));
  });

  bedside('at the desk a held message is given up by keyboard alone, with a reason that is text', { size: 'pc', at: ['/desk#traffic', 'h1'] }, async (one) => {
    const { page } = one;
    const session = await sendHeld('keys');
    const focused = () => page.evaluate(() => document.activeElement.textContent || document.activeElement.labels?.[0]?.textContent || document.activeElement.ariaLabel || '');
    const tabTo = async (wanted) => {
      for (let i = 0; i < 60; i += 1) {
        if ((await focused()).startsWith(wanted)) return;
        await page.keyboard.press('Tab');
      }
      assert.fail(`Tab does not reach ${wanted}, but ${await focused()}`);
    };
    await tabTo('Held');
    await page.keyboard.press('Enter');
    await page.getByRole('row', { name: session.slice(0, 8) }).waitFor();
    await page.locator('[aria-rowcount]:not([aria-rowcount="-1"])').waitFor();
    await page.evaluate(() => document.querySelector('.long').focus());
    for (let row = 0; row < 30 && !(await page.evaluate((id) => document.activeElement.matches(`a[href*="${id}"]`), session)); row += 1) {
      await page.keyboard.press(row === 0 ? 'Home' : 'ArrowDown');
      await page.waitForFunction((index) => document.activeElement.closest('[role="row"]')?.ariaRowIndex === index, String(row + 2));
    }
    await page.keyboard.press('Enter');
    await page.getByRole('button', { name: 'Give up' }).waitFor();
    await tabTo('Give up');
    await page.keyboard.press('Enter');
    await tabTo('Your name');
    await page.keyboard.type('Kim Sample');
    await page.keyboard.press('Tab');
    await page.keyboard.insertText(`${kMarkup} 🫁 خطأ`);
    await tabTo('Give up');
    await page.keyboard.press('Enter');
    await page.locator('.records').getByText(kMarkup).waitFor();
    assert.equal(await page.locator('main img, main script').count(), 0);
    assert.equal(await page.title(), 'Message');
    await page.reload();
    await page.locator('.records').getByText(kMarkup).waitFor(); // where the reader was
    await page.goBack();
    await page.getByRole('heading', { name: 'Traffic' }).waitFor();
  });

  bedside('of two who give one message up at once, the second is told', { size: 'tablet', at: ['/desk#traffic', 'h1'] }, async (one) => {
    const session = await sendHeld('both');
    one.expected = 'status of 4'; // of the second, in the browser's own log
    const other = await one.context.newPage();
    for (const page of [one.page, other]) {
      await page.goto(`${engine}/desk#message/${session}/1`);
      await page.getByRole('button', { name: 'Give up' }).click();
      const dialog = page.getByRole('dialog');
      await dialog.getByRole('textbox', { name: 'Your name' }).fill('Kim Sample');
      await dialog.getByRole('textbox', { name: 'Why' }).fill('typed at the wrong bed');
    }
    const giveUp = (page) => page.getByRole('dialog').getByRole('button', { name: 'Give up', exact: true }).click();
    await giveUp(one.page);
    await one.page.locator('.stand', { hasText: 'Given up' }).first().waitFor();
    await giveUp(other);
    await other.getByRole('dialog').locator('.judged.refuse').waitFor();
    await other.close();
  });
});
