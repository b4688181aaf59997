// The maps of record servers that have their own: looked at, put in force and taken back at the desk.
import assert from 'node:assert/strict';
import { after, before, describe } from 'node:test';
import { bedside, closeBrowser, engine, fitsLarge, judge, openBrowser } from './bedside.mjs';

before(openBrowser);
after(closeBrowser);

const at = ['/desk#maps', '.own'];

async function sign(one, button, why) {
  const dialog = one.page.getByRole('dialog');
  await dialog.getByRole('textbox', { name: 'Your name' }).fill('Kim Sample');
  await dialog.getByRole('textbox', { name: 'Why' }).fill(why);
  await judge(one.page, button.replace(/\W+/g, '-'));
  await dialog.getByRole('button', { name: button, exact: true }).click();
  await dialog.waitFor({ state: 'detached' });
}

// Which set is in force, by whom it is: '' for the engine's own.
async function inForce() {
  const told = await (await fetch(`${engine}/mapping`)).json();
  return Object.fromEntries([told, ...told.targets].map((one) => [one.target ?? '', one.inForce.set]));
}

describe('the maps of record servers', () => {
  for (const [size, scheme] of [['phone', 'light'], ['tablet', 'dark'], ['pc', 'light']]) {
    bedside(`what waits, where, and what is wrong is told: ${size}`, { size, scheme, at }, async (one) => {
      const { page } = one;
      for (const target of ['registry', 'research']) {
        const own = one.card(`Maps of ${target}`);
        await own.getByRole('heading', { name: `Maps of ${target}` }).waitFor();
        await one.card(`${target}: In force`).waitFor();
        await one.card(`${target}: Waits for approval`).getByText('Beside the set in force it made 0 bundles').waitFor();
        assert.equal(await own.getByText('The changed files are not taken').count(), target === 'research' ? 1 : 0);
      }
      assert.equal(await page.getByRole('link', { name: 'Try changed files' }).count(), 1);
      assert.equal(await one.card('Waits for approval').count(), 0, 'nothing waits at the engine itself');
      await judge(page, `maps-of-targets-${scheme}`, true);
      if (size === 'phone') await fitsLarge(one, 'maps-of-targets');
    });
  }

  bedside('one is put in force and taken back, and the other stays', { at }, async (one) => {
    const { page } = one;
    const before = await inForce();
    const waits = one.card('research: Waits for approval');
    await one.tap(waits.getByRole('button', { name: 'Put in force' }));
    await page.getByRole('dialog').getByText('Every bundle for research is made with it').waitFor();
    await sign(one, 'Put in force', 'agreed with those who read it');
    await waits.waitFor({ state: 'detached' });
    await one.card('research: In force').getByText('agreed with those who read it').waitFor();
    const changed = await inForce();
    assert.notEqual(changed.research, before.research);
    assert.deepEqual({ ...changed, research: '' }, { ...before, research: '' });
    await one.card('registry: Waits for approval').waitFor();
    await one.tap(one.card('research: Before').getByRole('button', { name: 'Go back to it' }));
    await page.getByRole('dialog').getByText('Every bundle for research is made with the set before').waitFor();
    await sign(one, 'Go back', 'they cannot read it');
    await one.card('research: In force').getByText('they cannot read it').waitFor();
    assert.deepEqual(await inForce(), before);
  });
});
