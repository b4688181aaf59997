// A patient's sheet: a therapist hands it out, the patient ticks on a phone, a therapist looks through it.
import assert from 'node:assert/strict';
import { after, before, describe } from 'node:test';
import { Bedside, bedside, closeBrowser, fillUp, fitsLarge, judge, observations, openBrowser, records } from './bedside.mjs';

const kTherapy = 'https://chartferry.example/fhir/CodeSystem/therapy';
const kWithWords = 'P-0105'; // the one patient for whom the site has written when to stop

before(openBrowser);
after(closeBrowser);

async function handOut(one, code = kWithWords) {
  await one.person();
  await one.patient(code);
  await one.tap('Sheet for the patient');
  await one.tap('Add a link for the phone');
  await one.page.getByRole('img', { name: 'The link as a code' }).waitFor();
  return (await one.page.locator('.address').textContent()).trim();
}
async function onPhone(address, options = {}) {
  const { pathname, hash } = new URL(address);
  return Bedside.open({ ...options, at: [pathname + hash, 'button.do'] });
}
async function tickSet(phone, best) {
  await phone.tap('I did a set of 10 breaths');
  if (best) await phone.tap(`Best volume, if you looked ${best} mL`);
  await phone.tap('Save the set');
}
const landedSets = async () => (await observations(`${kTherapy}|exerciser-set`, kWithWords)).all
  .filter((one) => one.performer?.some((who) => who.reference?.startsWith('Patient') || who.type === 'Patient'));

async function until(what, ask) {
  for (let i = 0; i < 150; i += 1) {
    if (await ask()) return;
    await new Promise((resolve) => { setTimeout(resolve, 100); });
  }
  assert.fail(`never: ${what}`);
}

describe("the patient's sheet", { concurrency: 1 }, () => {
  bedside('what the patient ticks lands as theirs, stands apart, and is attested', {}, async (one) => {
    const address = await handOut(one);
    const phone = await onPhone(address);
    await phone.page.getByText('You feel dizzy').first().waitFor();
    await phone.page.evaluate(async () => { await navigator.serviceWorker.ready; });
    await tickSet(phone, 1500);
    await phone.page.locator('.ticked').getByText('Sent', { exact: true }).waitFor();

    await phone.context.setOffline(true);
    await tickSet(phone);
    await phone.page.getByText('1 waits on this phone').waitFor();
    await phone.page.reload();
    await phone.page.getByText('1 waits on this phone').waitFor();
    await phone.context.setOffline(false);
    await phone.page.getByText('Everything is sent').waitFor({ timeout: 20_000 });

    await until('two sets of the patient in the chart', async () => (await landedSets()).length === 2);
    const counts = (await landedSets()).map((set) => set.component.find((part) => part.code.coding[0].code === 'repetitions').valueQuantity.value);
    assert.deepEqual(counts, [10, 10]);

    await one.tap('Progress');
    await one.page.locator('.key', { hasText: 'By the patient, not looked through' }).first().waitFor();
    await one.tap('Round');
    const review = one.group('To look through');
    await review.waitFor();
    assert.equal(await review.locator('li').count(), 2);
    assert.equal(await review.getByText('by the patient').count(), 2);
    await one.tap('I have looked at these 2');
    await review.waitFor({ state: 'detached' });
    await one.landed();
    await until('a Provenance that names the therapist as verifier', async () => {
      const answer = await fetch(`${records}/Provenance?_count=200`);
      const found = ((await answer.json()).entry ?? []).map((entry) => entry.resource);
      return found.some((made) => made.agent.some((who) => who.type?.coding?.[0]?.code === 'verifier')
        && made.agent.some((who) => who.who?.display === 'Robin Sample'));
    });
    await one.tap('Progress');
    await one.page.locator('.figures').waitFor();
    assert.equal(await one.page.locator('.key', { hasText: 'not looked through' }).count(), 0);
    await phone.page.reload();
    await phone.page.getByText('Your therapist has seen it').first().waitFor();
    assert.equal(await phone.page.getByRole('button', { name: /^Take back/ }).count(), 0);
    await phone.close();
  });

  bedside('a tick is taken back, and a reading under the range brings the words to the top', {}, async (one) => {
    const phone = await onPhone(await handOut(one));
    await phone.tap('I have an oximeter reading');
    await phone.field('Oxygen').fill('104');
    await phone.page.getByText('is impossible').waitFor();
    assert.ok(await phone.page.getByRole('button', { name: 'Save the reading' }).isDisabled());
    await phone.field('Oxygen').fill('91');
    await phone.tap('Save the reading');
    const low = phone.page.getByRole('alert');
    await low.getByText('under the range that was ordered for you').waitFor();
    await low.getByText('The nurse of Ward 4').waitFor();
    await phone.page.getByText('Everything is sent').waitFor();
    await phone.tap(phone.page.getByRole('button', { name: /^Take back: .*Oxygen 91/ }));
    await low.waitFor({ state: 'detached' });
    await phone.page.getByText('Everything is sent').waitFor();
    await phone.page.reload();
    await phone.page.getByText('Today').waitFor();
    assert.equal(await phone.page.getByText('Oxygen 91 %').count(), 0);
    await phone.close();
  });

  bedside('a link that was ended shows nothing of the patient', {}, async (one) => {
    const address = await handOut(one);
    const phone = await onPhone(address);
    await phone.page.getByText('Hazel Example').first().waitFor();
    await one.tap('End the links');
    await one.page.getByText('not work any more').waitFor();
    await phone.page.reload();
    await phone.page.getByText('This link does not work').waitFor();
    assert.equal(await phone.page.getByText('Hazel').count(), 0);
    phone.faults = phone.faults.filter((fault) => !/status of (404|429)/.test(fault));
    await phone.close();
  });

  bedside('on the phone letters of twice the size are not cut, and a phone without room says so', {}, async (one) => {
    const phone = await onPhone(await handOut(one));
    await fitsLarge(phone, "the patient's sheet");
    await phone.tap('I did a set of 10 breaths');
    await fitsLarge(phone, 'its form');
    await phone.page.evaluate(fillUp);
    await phone.tap('Save the set');
    await phone.page.getByText('This phone has no room to keep it').waitFor();
    assert.equal(await phone.field('Breaths').inputValue(), '10');
    await phone.page.evaluate(() => globalThis.room());
    await phone.tap('Save the set');
    await phone.page.getByText('Everything is sent').waitFor();
    await phone.close();
  });

  bedside('a phone whose clock is five hours off ticks at the true time', {}, async (one) => {
    const phone = await onPhone(await handOut(one));
    await phone.page.clock.install({ time: Date.now() - 5 * 3_600_000 });
    await phone.page.reload();
    await phone.page.getByText('Everything is sent').waitFor();
    await phone.tap('I have an oximeter reading');
    await phone.field('Oxygen').fill('97.25');
    await phone.tap('Save the reading');
    await phone.page.getByText('Everything is sent').waitFor();
    const ticked = async () => (await observations('59408-5', kWithWords)).all.find((made) => made.valueQuantity?.value === 97.25);
    await until('the reading in the chart', async () => (await ticked()) !== undefined);
    const off = Math.abs(Date.parse((await ticked()).effectiveDateTime) - Date.now());
    assert.ok(off < 120_000, `the chart is ${off} ms off`);
    await phone.close();
  });

  bedside('two tabs of a phone tick two sets, by keyboard and with a comma', {}, async (one) => {
    const address = await handOut(one);
    const phone = await onPhone(address);
    const other = await phone.context.newPage();
    await other.goto(phone.page.url());
    await other.getByRole('button', { name: 'I have an oximeter reading' }).focus();
    await other.keyboard.press('Enter');
    await other.getByRole('textbox', { name: 'Oxygen', exact: true }).focus();
    await other.keyboard.type('96,5');
    for (let i = 0; i < 8 && !(await other.evaluate(() => document.activeElement.textContent === 'Save the reading')); i += 1) await other.keyboard.press('Tab');
    await Promise.all([tickSet(phone), other.keyboard.press('Enter')]);
    for (const page of [phone.page, other]) {
      await page.locator('.ticked').getByText('Oxygen 96.5 %').waitFor({ timeout: 20_000 });
      await page.locator('.ticked').getByText('Set of 10 breaths').first().waitFor();
      await page.getByText('Everything is sent').waitFor();
    }
    await phone.close();
  });

  bedside('what nobody has written down is said to be so', {}, async (one) => {
    await one.person();
    await one.patient('P-0106');
    await one.tap('Sheet for the patient');
    assert.equal(await one.page.locator('.paper').getByText('Nobody has written this down for you. Ask your nurse.').count(), 2);
  });

  bedside('it prints on one page, with the link and without', { size: 'pc', scheme: 'dark' }, async (one) => {
    const pages = async (page) => (await page.pdf({ preferCSSPageSize: true })).toString('latin1').match(/\/Type\s*\/Page\b/g).length;
    const address = await handOut(one);
    assert.equal(await pages(one.page), 1);
    assert.equal(await one.page.locator('.paper .box').count(), 15, 'a box for each waking hour, 7 to 22');
    const phone = await onPhone(address);
    assert.equal(await pages(phone.page), 1);
    await phone.close();
  });

  for (const [size, scheme] of [['phone', 'light'], ['tablet', 'dark'], ['pc', 'light']]) {
    bedside(`no accessibility rule is broken: sheet, ${size}, ${scheme}`, { size, scheme }, async (one) => {
      const address = await handOut(one);
      await judge(one.page, `handout-${scheme}`, true);
      const phone = await onPhone(address, { size, scheme });
      await tickSet(phone, 1250);
      await phone.page.getByText('Everything is sent').waitFor();
      await phone.tap('I have an oximeter reading');
      await phone.field('Oxygen').fill('52');
      await phone.page.getByText('outside the usual').waitFor();
      await judge(phone.page, `sheet-${scheme}`, true);
      await phone.close();
      await one.tap('‹ Round');
      await one.group('To look through').waitFor();
      await judge(one.page, `review-${scheme}`);
    });
  }
});
