// The Round page of an engine with a people file, as a therapist meets it.
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { after, before, describe, test } from 'node:test';
import { Bedside, closeBrowser, engine, judge, observations, openBrowser, sendHeld } from './bedside.mjs';

const axe = readFileSync(createRequire(process.env.MODULES).resolve('axe-core/axe.min.js'), 'utf8');
const kPulse = '8867-4';

before(openBrowser);
after(closeBrowser);

function bedside(name, options, work) {
  test(name, { skip: !name.includes(process.env.WORD ?? ''), timeout: 60_000 }, async () => {
    const one = await Bedside.open({ stranger: true, ...options });
    await work(one);
    await one.close();
  });
}

async function signIn({ page }, password = 'a walk along the quiet river', name = 'robin') {
  await page.getByLabel('Name', { exact: true }).fill(name);
  await page.getByLabel('Password', { exact: true }).fill(password);
  await page.keyboard.press('Enter');
}

const signInAs = (one, name) => signIn(one, undefined, name);
// The headers of a request by whoever that is, as a page of the engine's own sends them.
async function asPerson(name) {
  const answer = await fetch(`${engine}/sign-in`, { method: 'POST', headers: { 'Content-Type': 'application/json', Origin: engine },
    body: JSON.stringify({ name, password: 'a walk along the quiet river' }) });
  assert.equal(answer.status, 200, await answer.clone().text());
  return { Cookie: answer.headers.get('set-cookie').split(';')[0], Origin: engine };
}
async function atDesk(one, name, place) {
  await one.page.goto(`${engine}/desk#${place}`);
  await one.page.getByLabel(/^Why you look/).fill('sample of the day');
  await signInAs(one, name);
  await one.page.getByRole('navigation', { name: 'Desk' }).waitFor();
}
// The browser's own store, as somebody sees it who opens its files: what is kept by name, and who is known to be signed in.
function stored(page) {
  return page.evaluate(() => new Promise((resolve, reject) => {
    const asked = indexedDB.open('chartferry');
    asked.onerror = () => reject(asked.error);
    asked.onsuccess = () => {
      const both = asked.result.transaction(['kept', 'keys']);
      const names = both.objectStore('kept').getAllKeys();
      const standing = both.objectStore('keys').get('standing');
      both.oncomplete = () => resolve({ names: names.result, members: Object.keys(standing.result ?? {}) });
    };
  }));
}
async function onDevice({ page }) { // the page itself is kept too
  await page.evaluate(async () => { await navigator.serviceWorker.ready; });
}

describe('signing in', { concurrency: 1 }, () => {
  bedside('a stranger sees no patient, and a wrong password says so', {}, async (one) => {
    const { page } = one;
    assert.equal(await page.locator('.patient').count(), 0);
    if (process.env.SHOTS) await page.screenshot({ path: `${process.env.SHOTS}/sign-in.png` });
    await page.evaluate(axe);
    const { violations } = await page.evaluate(() => globalThis.axe.run(document, { resultTypes: ['violations'] }));
    assert.deepEqual(violations.map((v) => [v.id, v.nodes.map((node) => node.html.slice(0, 160))]), []);
    await signIn(one, 'a walk along the loud river');
    await page.getByText('do not go together').waitFor();
    assert.equal(await page.getByLabel('Password', { exact: true }).inputValue(), '');
    assert.equal(await page.locator('.patient').count(), 0);
  });

  bedside('who signs in records, and what was begun outlives a sign-in that ended', {}, async (one) => {
    const { page, context } = one;
    await signIn(one);
    await page.getByText('Robin Sample is signed in.').waitFor();
    assert.ok(!(await page.evaluate(() => document.cookie)).includes('chartferry'), 'no page reads the cookie');
    await one.person();
    await one.patient('P-0104');
    await one.field('Pulse').fill('87');
    await context.clearCookies();
    await one.tap(one.send);
    await page.locator('.sign-in').waitFor();
    assert.ok(await page.locator('.patient').first().isHidden(), 'a stranger sees no patient');
    await signIn(one);
    await one.landed();
    assert.ok((await observations(kPulse, 'P-0104')).all.some((resource) => resource.valueQuantity?.value === 87));
  });

  bedside('the desk asks who looks and why', { at: ['/desk', '.sign-in'] }, async (one) => {
    const { page } = one;
    await page.getByLabel(/^Why you look/).fill('sample of the day');
    const asked = page.waitForRequest((request) => request.method() === 'POST' && request.url().endsWith('/traffic'));
    await signIn(one);
    await page.getByText('Robin Sample is signed in.').waitFor();
    assert.equal((await asked).headers()['read-why'], 'sample%20of%20the%20day');
  });

  bedside('the reason of one person does not go with what the next one reads', { at: ['/desk#traffic', '.sign-in'] }, async (one) => {
    const { page, context } = one;
    const session = await sendHeld('why', undefined, await asPerson('robin'));
    const place = `message/${session}/1`;
    const message = (tab) => tab.waitForRequest((request) => request.url().endsWith(`/sessions/${session}/revisions/1`));
    await atDesk(one, 'audrey', 'traffic');
    const other = await context.newPage();
    await other.goto(`${engine}/desk#${place}`);
    // She said why in the first tab only.
    await other.getByLabel(/^Why you look/).fill('complaint of a relative');
    await judge(other, 'ask-why');
    const hers = message(other);
    await other.getByRole('button', { name: 'Go on' }).click();
    assert.equal((await hers).headers()['read-why'], 'complaint%20of%20a%20relative');
    await one.tap('Sign out');
    await page.locator('.sign-in').waitFor();
    await other.locator('.sign-in').waitFor();
    await atDesk(one, 'erin', 'traffic');
    await other.getByText('Erin Sample is signed in.').waitFor();
    await other.getByLabel(/^Why you look/).fill('a code is missing');
    const next = message(other);
    await other.getByRole('button', { name: 'Go on' }).click();
    assert.equal((await next).headers()['read-why'], 'a%20code%20is%20missing');
    await other.getByText('Came in').waitFor();
    await other.getByRole('button', { name: 'Sign out' }).click();
    await other.locator('.sign-in').waitFor();
    await other.goto(engine); // where nobody is asked
    await signIn({ page: other });
    await other.getByText('Robin Sample is signed in.').waitFor();
    const last = message(other);
    await other.goto(`${engine}/desk#${place}`);
    assert.equal((await last).headers()['read-why'], undefined);
    await other.close();
  });

  bedside('what waits is sealed to who recorded it: the next person neither sees nor sends it', {}, async (one) => {
    const { page, context } = one;
    await signIn(one);
    await one.person();
    await onDevice(one);
    await one.patient('P-0106');
    await context.setOffline(true);
    await one.field('Pulse').fill('91');
    await one.tap(one.send);
    await page.locator('.stand[data-stand="waiting"]').waitFor();
    await one.field('Breathing rate').fill('19'); // half a card
    await one.tap('Ward list');
    await one.tap('Sign out');
    const dialog = page.getByRole('dialog');
    await dialog.getByText('1 session is not sent yet, and cards of 1 patient are filled in and not sent.').waitFor();
    if (process.env.SHOTS) await page.screenshot({ path: `${process.env.SHOTS}/sign-out.png` });
    await page.evaluate(axe);
    const { violations } = await page.evaluate(() => globalThis.axe.run(document, { resultTypes: ['violations'] }));
    assert.deepEqual(violations.map((v) => [v.id, v.nodes.map((node) => node.html.slice(0, 160))]), []);
    await one.tap('Stay signed in');
    await page.getByText('Robin Sample is signed in.').waitFor();
    await one.tap('Sign out');
    await one.tap('Sign out and keep it sealed'); // without a network, too
    await page.getByText('1 session waits on this device, sealed').waitFor();
    await page.reload();
    await page.locator('.sign-in').waitFor();
    assert.equal(await page.locator('.patient').count(), 0, 'nor the ward list');
    const { names, members } = await stored(page);
    assert.ok(names.length >= 3 && names.every((name) => /^p-[0-9a-f]{16}\/(session|draft|ward|person)/.test(name)), names.join());
    assert.deepEqual(members.sort(), ['leaving', 'needed'], 'no key is left on the device');

    await Promise.all([page.waitForResponse((answer) => answer.url().endsWith('/sign-out') && answer.status() === 204),
      context.setOffline(false)]);
    await signInAs(one, 'jo');
    await page.getByText('Jo Sample is signed in.').waitFor();
    assert.equal(await page.locator('.mark, .link b').count(), 0, 'nothing waits of Jo');
    await one.person('Jo Sample, PT');
    await one.patient('P-0106');
    assert.equal(await one.field('Breathing rate').inputValue(), '');
    assert.equal(await page.locator('.receipt').count(), 0);
    assert.ok(!(await observations(kPulse, 'P-0106')).all.some((resource) => resource.valueQuantity?.value === 91));
    await one.tap('Ward list');
    await one.tap('Sign out'); // with nothing left there is nothing to warn of
    await page.locator('.sign-in').waitFor();

    await signIn(one);
    await one.patient('P-0106');
    await one.landed();
    assert.equal(await one.field('Breathing rate').inputValue(), '19');
    assert.ok((await observations(kPulse, 'P-0106')).all.some((resource) => resource.valueQuantity?.value === 91));
  });

  bedside('who is signed in goes on without a network, over a reload, for as long as a sign-in lasts', {}, async (one) => {
    const { page, context } = one;
    await signIn(one);
    await one.person();
    await onDevice(one);
    await context.setOffline(true);
    await page.reload();
    await one.patient('P-0107');
    await one.field('Pulse').fill('89');
    await one.tap(one.send);
    await page.locator('.stand[data-stand="waiting"]').waitFor();
    await page.clock.setFixedTime(Date.now() + 11 * 3_600_000);
    await page.reload();
    await page.locator('.patient').first().waitFor();
    await page.clock.setFixedTime(Date.now() + 13 * 3_600_000);
    await page.reload();
    await page.getByText('1 session waits on this device, sealed').waitFor();
    assert.equal(await page.locator('.patient').count(), 0);
    await page.clock.setFixedTime(Date.now());
    await context.clearCookies(); // the engine has ended it as well
    await context.setOffline(false);
    await signIn(one);
    await one.patient('P-0107');
    await one.landed();
  });

  bedside('signing out in one tab locks the others', {}, async (one) => {
    const { page, context } = one;
    await signIn(one);
    await one.person();
    await one.patient('P-0108');
    const other = await context.newPage();
    await other.goto(page.url());
    await other.getByText('Robin Sample is signed in.').waitFor();
    await other.getByRole('button', { name: 'Sign out' }).click();
    await other.locator('.sign-in').waitFor();
    await page.locator('.sign-in').waitFor();
    assert.equal(await page.getByText('Rowan Example').count(), 0);
    await signIn({ page: other });
    await one.card('Readings').waitFor(); // where Robin was
    await other.close();
  });

  bedside('the desk asks no name of who is signed in', { size: 'pc', at: ['/desk#targets', '.sign-in'] }, async (one) => {
    const { page } = one;
    await page.getByLabel(/^Why you look/).fill('sample of the day');
    await signInAs(one, 'erin');
    await one.tap('Pause');
    const dialog = page.getByRole('dialog');
    await dialog.getByText('with your name: Erin Sample').waitFor();
    assert.equal(await dialog.getByRole('textbox').count(), 1);
    assert.ok(await dialog.locator('.send').isDisabled(), 'not without a reason');
    await dialog.getByRole('textbox', { name: 'Why' }).fill('its disk is changed');
    await dialog.getByRole('button', { name: 'Pause', exact: true }).click();
    await page.getByText('Erin Sample (erin)').first().waitFor();
    await one.tap('Resume');
    await dialog.getByRole('textbox', { name: 'Why' }).fill('it is back');
    await dialog.getByRole('button', { name: 'Resume', exact: true }).click();
    await page.locator('.stand', { hasText: 'Sending' }).waitFor();
  });

  bedside('an operator moves a held message on without reading it', { at: ['/desk#traffic', '.sign-in'] }, async (one) => {
    const { page } = one;
    const session = await sendHeld('unread', undefined, await asPerson('robin'));
    await atDesk(one, 'opal', `message/${session}/1`);
    await page.getByText('is not shown to your role').waitFor();
    await page.getByText('nobody confirmed it').waitFor();
    assert.equal(await page.getByRole('alert').count(), 0);
    assert.deepEqual(await page.locator('nav a').allTextContents(), ['Traffic', 'Targets', 'Maps']);
    await judge(page, 'message-unread', true);
    await one.tap('Move to the right patient');
    const dialog = page.getByRole('dialog');
    await dialog.getByRole('textbox', { name: 'Right patient, identifier: value' }).waitFor();
    await page.keyboard.press('Escape');
    await one.tap('Give up');
    await dialog.getByRole('textbox', { name: 'Why' }).fill('sent by a trial');
    await dialog.getByRole('button', { name: 'Give up', exact: true }).click();
    await page.locator('.stand', { hasText: 'Given up' }).waitFor();
    await page.goto(`${engine}/desk#log`);
    await page.getByText('Log is not for your role.').waitFor();
  });

  bedside('who is no therapist is shown the way to the desk', {}, async (one) => {
    const { page } = one;
    await signInAs(one, 'Opal'); // as a keyboard writes it that begins with a capital
    await page.getByText('This page is for therapists').waitFor();
    assert.equal(await page.getByText('Engine away').count(), 0);
    await judge(page, 'round-operator');
    await page.getByRole('link', { name: 'the desk' }).click();
    await page.getByRole('heading', { name: 'Traffic' }).waitFor();
    await page.goto(`${engine}/desk#message/${await sendHeld('no-revision', undefined, await asPerson('robin'))}/7`);
    await page.getByText('There is no such revision').waitFor();
  });

  bedside('nobody is offered what their role may not', { size: 'pc', at: ['/desk#traffic', '.sign-in'] }, async (one) => {
    const { page } = one;
    const session = await sendHeld('looked-at', undefined, await asPerson('robin'));
    const offered = async (place, there) => {
      await page.goto(`${engine}/desk#${place}`);
      await page.getByText(there).first().waitFor();
      return page.getByRole('button', { name: /^(Release|Translate again|Give up|Move to|Pause|Ask what)/ }).count();
    };
    for (const [name, rooms, moves, pauses] of [['audrey', 'Traffic Targets Maps Try out Log', 0, 0], ['erin', 'Traffic Targets Maps Try out', 4, 2],
      ['robin', 'Traffic', 0, 0]]) {
      await atDesk(one, name, 'traffic');
      assert.equal((await page.locator('nav a').allTextContents()).join(' '), rooms, name);
      await page.locator('.long-rows a').first().waitFor();
      assert.equal(await page.getByRole('alert').count(), 0, name);
      assert.equal(await offered(`message/${session}/1`, 'Came in'), moves, name);
      if (name !== 'robin') assert.equal(await offered('targets', 'Under way'), pauses, name);
      await one.tap('Sign out');
      await page.locator('.sign-in').waitFor();
    }
  });

  bedside('who signs out leaves a page for the next one', {}, async (one) => {
    const { page } = one;
    await signIn(one);
    await one.tap('Sign out');
    await page.locator('.sign-in').waitFor();
    assert.ok(await page.locator('.patient').first().isHidden());
    await page.reload();
    await page.locator('.sign-in').waitFor();
    assert.equal(await page.locator('.patient').count(), 0);
  });
});
