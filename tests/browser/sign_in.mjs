// The Round page of an engine with a people file, as a therapist meets it.
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { after, before, describe, test } from 'node:test';
import { Bedside, closeBrowser, observations, openBrowser } from './bedside.mjs';

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

async function signIn({ page }, password = 'a walk along the quiet river') {
  await page.getByLabel('Name', { exact: true }).fill('robin');
  await page.getByLabel('Password', { exact: true }).fill(password);
  await page.keyboard.press('Enter');
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
