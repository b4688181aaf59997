// Changed maps tried at the desk, as an integration engineer does it.
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { after, before, describe } from 'node:test';
import { bedside, closeBrowser, judge, openBrowser } from './bedside.mjs';

before(openBrowser);
after(closeBrowser);

const at = (place = 'try-out') => [`/desk#${place}`, '.editor textarea'];
const vitals = readFileSync(new URL('../../mappings/samples/vitals.session.json', import.meta.url), 'utf8');

const kCompiling = 25_000; // milliseconds; each try may compile the whole set
const editor = (page) => page.locator('.editor textarea');

async function open(one, file) {
  await one.page.getByLabel('File', { exact: true }).selectOption(file);
  await one.page.getByRole('textbox', { name: `Text of ${file}` }).waitFor();
}
async function edit(page, from, to) {
  const text = await editor(page).inputValue();
  assert.ok(text.includes(from), `the file has no ${from}`);
  await editor(page).fill(text.replace(from, to));
}
async function paste(page, text) {
  await page.getByLabel('Try it on').selectOption({ label: 'A document that I paste' });
  await page.getByLabel('Session document').fill(text);
}
const result = (page, name) => page.getByRole('region', { name, exact: true });

describe('trying maps out', { concurrency: 2 }, () => {
  bedside('an error leads to its line', { at: at() }, async (one) => {
    const { page } = one;
    page.setDefaultTimeout(kCompiling);
    await open(one, 'entry-note.map');
    await edit(page, 'obs.value = t', 'obs.valve = t');
    await paste(page, vitals);
    await one.tap('Try');
    const wrong = result(page, 'What does not compile');
    const place = await wrong.getByRole('button').first().textContent();
    await open(one, 'summary.map');
    await wrong.getByRole('button').first().click();
    await page.getByRole('textbox', { name: 'Text of entry-note.map' }).waitFor();
    const [, line] = place.split(':');
    await page.waitForFunction((wanted) => {
      const area = document.activeElement;
      return area instanceof HTMLTextAreaElement && area.value.slice(0, area.selectionStart).split('\n').length === wanted;
    }, Number(line));
    assert.equal(await page.locator('.gutter .wrong').textContent(), `${line}\n`);
    await one.tap('As in force');
    await one.tap('Try');
    await result(page, 'What came of it').getByText('This is the set in force, unchanged.').waitFor();
  });

  bedside('recorded traffic shows what would come out otherwise, values when asked', { size: 'pc', at: at() }, async (one) => {
    const { page } = one;
    page.setDefaultTimeout(kCompiling);
    await open(one, 'summary.map');
    await edit(page, "'Lowest saturation: '", "'Lowest value seen: '");
    await one.tap('Try on traffic');
    const traffic = result(page, 'On recorded traffic');
    const row = traffic.locator('tr', { hasText: 'Observation.valueString changed' });
    await row.waitFor();
    assert.doesNotMatch(await traffic.textContent(), /Lowest/);
    await one.tap(traffic.getByRole('button', { name: /^Show the values/ }));
    await row.getByText('Lowest value seen').first().waitFor();
    // One of them, rule by rule; what was edited is still there.
    await row.getByRole('link', { name: 'Try on it' }).first().click();
    await one.tap('Try');
    await result(page, 'What came of it').getByText('Observation.valueString changed').waitFor();
    const [file] = await Promise.all([page.waitForEvent('download'), one.tap('Download')]);
    assert.equal(file.suggestedFilename(), 'summary.map');
    assert.match(readFileSync(await file.path(), 'utf8'), /Lowest value seen/);
    await page.getByRole('link', { name: 'Log' }).click();
    await page.getByLabel('Kind').selectOption('read');
    await one.tap('Read');
    await page.getByText('session tried out with changed maps').first().waitFor();
    await page.getByText('differences that changed maps would make').first().waitFor();
  });

  bedside('a new file is tried with the others, and one of a wrong name is not taken', { at: at() }, async (one) => {
    const { page } = one;
    page.setDefaultTimeout(kCompiling);
    await page.getByText('A new file').click();
    const name = page.getByLabel('Name of the new file');
    const add = page.getByRole('button', { name: 'Add it' });
    for (const [wrong, why] of [['../frame.map', 'A name such as'], ['frame.map', 'There is a file'], ['a.txt', 'A name such as']]) {
      await name.fill(wrong);
      await page.getByText(why).waitFor();
      assert.ok(await add.isDisabled(), wrong);
    }
    await name.fill('concepts/invented.csv');
    await add.click();
    await page.getByRole('textbox', { name: 'Text of concepts/invented.csv' }).waitFor();
    assert.equal(await editor(page).inputValue(), '');
    await paste(page, vitals);
    await one.tap('Try');
    await result(page, 'What does not compile').getByText('concepts/invented.csv').first().waitFor();
    await one.tap('Leave it out');
    await page.getByText('Nothing is changed.').waitFor();
    await one.tap('Try');
    await result(page, 'What came of it').getByText('This is the set in force, unchanged.').waitFor();
  });

  for (const [size, scheme] of [['phone', 'dark'], ['tablet', 'light'], ['pc', 'dark']]) {
    bedside(`no accessibility rule is broken: trying out, ${size}, ${scheme}`, { size, scheme, at: at() }, async (one) => {
      const { page } = one;
      page.setDefaultTimeout(kCompiling);
      await page.getByText('A new file').click();
      await page.getByLabel('Name of the new file').fill('invented.txt');
      await judge(page, `try-${scheme}`);
      await open(one, 'summary.map');
      await edit(page, "'Lowest saturation: '", "'Lowest value seen: '");
      await paste(page, vitals);
      await editor(page).press('Control+Enter');
      await result(page, 'The rules as they ran').waitFor();
      await result(page, 'Made').or(page.getByRole('list', { name: 'Bundle' })).first().waitFor();
      await judge(page, `try-result-${scheme}`, true);
      await one.tap('Try on traffic');
      await result(page, 'On recorded traffic').getByText(/messages? (was|were) looked at/).waitFor();
      await result(page, 'On recorded traffic').scrollIntoViewIfNeeded();
      await judge(page, `try-traffic-${scheme}`);
      if (size !== 'phone') return;
      await edit(page, "'Lowest value seen: '", "'Lowest value seen: ");
      await one.tap('Try');
      await result(page, 'What does not compile').waitFor();
      await judge(page, `try-wrong-${scheme}`);
    });
  }
});
