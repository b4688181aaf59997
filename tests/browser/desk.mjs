// The desk as an integration engineer and an auditor meet it.
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { after, before, describe } from 'node:test';
import { bedside, closeBrowser, engine, judge, openBrowser } from './bedside.mjs';

before(openBrowser);
after(closeBrowser);

const at = (place = 'traffic') => [`/desk#${place}`, 'h1'];
const name = 'Kim Sample';

// A document of the invented day with a value that nobody confirmed: it is held. `tag` makes it a session of its own.
async function sendHeld(tag) {
  const document = JSON.parse(readFileSync(new URL('../../mappings/samples/vitals.session.json', import.meta.url), 'utf8'));
  document.identifier.value += `-${tag}`;
  const vitals = document.entry.find((one) => one.vitals?.saturation);
  vitals.vitals.saturation.value = 52;
  delete vitals.confirmed;
  const answer = await fetch(`${engine}/sessions`, { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify(document) });
  assert.equal(answer.status, 202, await answer.clone().text());
  const { session } = await answer.json();
  for (let i = 0; i < 200; i += 1) {
    const told = await (await fetch(`${engine}/sessions/${session}`)).json();
    if (told.state === 'held') return session;
    await new Promise((wait) => { setTimeout(wait, 25); });
  }
  return assert.fail('it is not held');
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
    const row = page.locator('tr', { hasText: session.slice(0, 8) });
    await row.getByText('nobody confirmed it').waitFor(); // by itself: the list follows the engine
    await row.getByRole('link').click();
    await page.getByRole('heading', { name: 'What was found' }).waitFor();
    await page.locator('.issues').getByText('52').first().waitFor();
    await one.tap('Give up');
    await sign(one, 'Give up', 'typed at the wrong bed');
    await page.locator('.stand', { hasText: 'Given up' }).first().waitFor();
    await page.locator('.records').getByText('typed at the wrong bed').waitFor();
  });

  bedside('the rule and the input of any element light up, and the other way round', { size: 'pc', at: at() }, async (one) => {
    const { page } = one;
    await one.choose('Show only', 'In the chart');
    await page.locator('.list a').first().click();
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
    await page.getByLabel('Patient identifier: system').fill('https://hill.example/ids/patient');
    await page.getByLabel('Patient identifier: value').fill('P-0103');
    await page.getByRole('button', { name: 'Search', exact: true }).click();
    await page.waitForTimeout(500);
    const found = await page.locator('tbody tr').count();
    assert.ok(found >= 3, `${found} messages`);
    assert.doesNotMatch(page.url(), /P-0103/);
    await page.getByLabel('Patient identifier: value').fill('P-9999');
    await page.getByRole('button', { name: 'Search', exact: true }).click();
    await page.getByText('No message fits').waitFor();
    await one.page.getByRole('link', { name: 'Log' }).click();
    await page.getByLabel('Kind').selectOption('read');
    await one.tap('Read');
    await page.getByText("search of a patient's messages").first().waitFor();
  });

  bedside('an auditor proves a record and the whole', { at: at('log') }, async (one) => {
    const { page } = one;
    await page.getByLabel('Kind').selectOption('accepted');
    await one.tap('Read');
    one.expected = 'status of 409'; // the second answer, in the browser's own log
    await page.locator('tbody .plain').last().click();
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

  bedside('what is refused is said', { at: at('message/00000000-0000-5000-8000-000000000000/1') }, async (one) => {
    one.expected = 'status of 404'; // for the session and for the message, in the browser's own log
    await one.page.getByText('there is no such').first().waitFor();
  });

  for (const [size, scheme] of [['phone', 'light'], ['pc', 'light'], ['phone', 'dark']]) {
    bedside(`no accessibility rule is broken: desk, ${size}, ${scheme}`, { size, scheme, at: at() }, async (one) => {
      const { page } = one;
      const session = await sendHeld(`desk-${size}-${scheme}`);
      await page.locator('tbody tr', { hasText: session.slice(0, 8) }).waitFor();
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
