// The Progress view as a nurse or physician meets it, who never says who they are.
import assert from 'node:assert/strict';
import { after, before, describe } from 'node:test';
import { bedside, closeBrowser, judge, openBrowser } from './bedside.mjs';

before(openBrowser);
after(closeBrowser);

async function opened(one, code = 'P-0103') {
  await one.tap(one.page.locator('.patient', { hasText: code }));
  await one.tap('Progress');
  await one.page.locator('.figures').waitFor();
  await one.page.locator('.spot').first().waitFor({ state: 'attached' });
}
const figure = (one, label) => one.page.locator('.figures > div', { hasText: label });

describe('the Progress view', { concurrency: 2 }, () => {
  bedside('says what the session documents and the engine say', {}, async (one) => {
    await opened(one);
    // The invented day: sandbox/ward/sends. 1400 to 1650 mL against a goal of 1500 mL: 110.0 % (1650 / 1500 x 100).
    await figure(one, 'Best inspired volume').getByText('1650 mL').waitFor();
    await figure(one, 'Best inspired volume').getByText('110.0 % of the goal').waitFor();
    const chart = one.page.locator('.chart', { hasText: 'Saturation' });
    assert.ok(await chart.locator('.spot').count() >= 5);
    await one.page.locator('.did', { hasText: 'fall from rest' }).first().waitFor();
  });

  bedside('a point opens its entry, and the entry its resources', {}, async (one) => {
    await opened(one);
    const { page } = one;
    const chart = page.locator('.chart', { hasText: 'Saturation' });
    const spot = chart.locator('.spot').first();
    const name = await spot.getAttribute('aria-label');
    await spot.scrollIntoViewIfNeeded();
    const box = await spot.boundingBox();
    await page.mouse.click(box.x + box.width / 2, box.y + box.height / 2);
    const dialog = page.getByRole('dialog');
    await dialog.waitFor();
    assert.ok(name.includes((await dialog.locator('p').first().textContent()).match(/\d+ %/)[0]), name);
    await one.tap('Show its resources');
    await dialog.getByText(/Observation\/[^ ]/).first().waitFor();
    await dialog.getByText('Oxygen saturation').first().waitFor();
  });

  bedside('points are reached by keyboard', { size: 'pc' }, async (one) => {
    await opened(one);
    const { page } = one;
    const spots = page.locator('.chart', { hasText: 'Saturation' }).locator('.spot');
    await spots.first().focus();
    await page.keyboard.press('ArrowRight');
    assert.ok(await spots.nth(1).evaluate((node) => node === document.activeElement));
    const tip = page.locator('.tip');
    await tip.waitFor();
    await page.keyboard.press('Enter');
    await page.getByRole('dialog').waitFor();
    await page.keyboard.press('Escape');
    assert.equal(await page.getByRole('dialog').count(), 0);
  });

  bedside('a reload leads to the ward list, and the course is there again as it was', {}, async (one) => {
    await opened(one);
    const told = () => one.page.locator('.figures').textContent();
    const before = await told();
    await one.page.reload();
    await one.page.locator('.patient').first().waitFor();
    assert.equal(await one.page.locator('.figures').count(), 0, 'nobody is opened by the address');
    await opened(one);
    assert.equal(await told(), before);
  });

  bedside('an hour without a record is not called not done', {}, async (one) => {
    await opened(one);
    await one.page.locator('.hours').getByText('not recorded').first().waitFor({ state: 'attached' });
    await one.page.getByText('not recorded, which is not the same as not done').waitFor();
  });

  bedside('a patient without a record is told to be so', {}, async (one) => {
    await one.tap(one.page.locator('.patient').last());
    await one.tap('Progress');
    await one.page.getByText('Nothing has been recorded for this patient yet').waitFor();
  });

  bedside('it prints on one page', { size: 'pc', scheme: 'dark' }, async (one) => {
    await opened(one);
    const pdf = (await one.page.pdf({ preferCSSPageSize: true })).toString('latin1');
    assert.equal(pdf.match(/\/Type\s*\/Page\b/g).length, 1);
  });

  for (const [size, scheme] of [['phone', 'light'], ['tablet', 'dark'], ['pc', 'light']]) {
    bedside(`no accessibility rule is broken: progress, ${size}, ${scheme}`, { size, scheme }, async (one) => {
      await opened(one);
      await judge(one.page, `progress-${scheme}`, true);
      await one.page.locator('.did').first().click();
      await one.tap('Show its resources');
      await one.page.getByRole('dialog').getByText(/\/[^ ]/).first().waitFor();
      await judge(one.page, `point-${scheme}`);
    });
  }
});
