// SPDX-License-Identifier: Apache-2.0
// The console in a browser, on a server of its own: node tests/browser.mjs PROGRAM BENCH_FOLDER SCRATCH.
// The browser is Debian's chromium, or the program that CHROMIUM names; without one it is skipped.
import assert from 'node:assert/strict';
import { readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { check, command, enter, finish, freshBench, openGate, openPage, startBrowser, startServer, told, withRun } from './server.mjs';

const [program, benchFolder, scratch] = process.argv.slice(2);
const browser = await startBrowser();
const axe = readFileSync(fileURLToPath(new URL('../node_modules/axe-core/axe.min.js', import.meta.url)), 'utf8');

const rooms = ['ready', 'plan', 'measure', 'results', 'logbook'];
const sizes = {
  laptop: { viewport: { width: 1440, height: 900 }, projector: 'no', look: 'light', language: 'en' },
  projector: { viewport: { width: 1920, height: 1080 }, projector: 'yes', look: 'dark', language: 'es' },
  phone: { viewport: { width: 390, height: 844 }, projector: 'no', look: 'dark', language: 'es' },
};

/** What sticks out of the page, lies on something else that can be pressed, or is too small to press. */
const misplaced = () => {
  const found = [];
  const shown = (element) => {
    const box = element.getBoundingClientRect();
    return box.width > 1 && box.height > 1 && getComputedStyle(element).visibility !== 'hidden' ? box : null;
  };
  for (const box of [document.documentElement, document.querySelector('main')]) {
    if (box.scrollWidth > box.clientWidth) found.push(`${box.tagName} is ${box.scrollWidth - box.clientWidth} px too wide`);
  }
  const targets = [...document.querySelectorAll('button, a[href], select, input:not([type=checkbox]):not([type=radio]), textarea')]
    .filter((element) => !element.closest('.scroll') && !element.classList.contains('skip'))
    .map((element) => ({ element, box: shown(element), fixed: element.closest('header, .foot') !== null }))
    .filter((each) => each.box !== null);
  const name = (element) => `${element.tagName.toLowerCase()} "${(element.textContent || element.id).trim().slice(0, 30)}"`;
  for (const { element, box } of targets) {
    if (box.height < 43.5 && element.type !== 'range') found.push(`${name(element)} is ${box.height.toFixed(0)} px high`);
  }
  for (let a = 0; a < targets.length; ++a) {
    for (let b = a + 1; b < targets.length; ++b) {
      const [p, q] = [targets[a], targets[b]];
      if (p.fixed !== q.fixed) continue; // what scrolls passes under what stays
      const wide = Math.min(p.box.right, q.box.right) - Math.max(p.box.left, q.box.left);
      const high = Math.min(p.box.bottom, q.box.bottom) - Math.max(p.box.top, q.box.top);
      if (wide > 1 && high > 1) found.push(`${name(p.element)} lies on ${name(q.element)}`);
    }
  }
  for (const text of document.querySelectorAll('svg text')) {
    const [box, frame] = [shown(text), text.ownerSVGElement.getBoundingClientRect()];
    if (box !== null && (box.left < frame.left - 2 || box.right > frame.right + 2)) found.push(`"${text.textContent}" is cut off`);
    if (box === null || text.closest('button, a') !== null) continue;
    const over = targets.find(({ element, fixed, box: on }) => !fixed && Math.min(box.right, on.right) - Math.max(box.left, on.left) > 1 && Math.min(box.bottom, on.bottom) - Math.max(box.top, on.top) > 1);
    if (over !== undefined) found.push(`${name(over.element)} lies on "${text.textContent}"`);
  }
  return found;
};

freshBench(program, benchFolder, scratch);
withRun(program, scratch);
/** Once it is so: what has just come in may still be taking its place. */
async function nothingMisplaced(page) {
  let found = [];
  for (let tries = 0; tries < 30; ++tries) {
    found = await page.evaluate(misplaced);
    if (found.length === 0) return;
    await page.waitForTimeout(100);
  }
  assert.deepEqual(found, []);
}

const server = await startServer(program, scratch, { pace: 4 });
try {
  const { url } = server;

  // What a room looks like depends on what goes on: each of these is looked at in every size, light and dark.
  const { page: crew } = await openPage(browser, url, sizes.laptop, 'Ana', 'operator');
  const commanded = (path, data = {}) => crew.request.post(`${url}api/v1/benches/${server.benches[0]}${path}`, { data });
  assert.ok((await commanded('/lease')).ok());
  assert.ok((await commanded('/readiness')).ok());
  await enter(crew, 'ready');
  await crew.locator('section[aria-label="Check standards"] li').nth(13).waitFor();
  assert.ok((await commanded('/calibration', { channel: 'dc_voltage_V' })).ok());
  await crew.getByText('27 of 27 readings').waitFor();
  assert.ok((await crew.request.delete(`${url}api/v1/benches/${server.benches[0]}/lease`)).ok());
  await crew.context().close();
  const further = {
    ready: async (page) => {
      await page.locator('section[aria-label="Interlocks"], section[aria-label="Enclavamientos"]').getByRole('button', { name: /\u2026$/ }).click();
      await page.locator('.confirm').first().waitFor();
      await page.locator('section:has(dl, progress) svg circle').nth(26).waitFor(); // of the calibration
    },
    plan: async (page) => {
      await page.getByRole('button', { name: /campaign\.toml/ }).first().click();
      const text = page.locator('.editor textarea');
      await text.fill((await text.inputValue()).replace('schema = 1', 'schema = 2'));
      await page.locator('button.problem').first().waitFor();
    },
    measure: async (page) => {
      // A change that is foretold, with a reason where one is demanded; and the person's own card over it.
      await openGate(page, 'fan_pct');
      await page.locator('#actuator-fan_pct').fill('95');
      await page.locator('.foretold').waitFor();
      await page.locator('.who').click();
      await page.locator('#person').waitFor();
    },
  };
  const violations = (page) =>
    page.evaluate(async () => {
      const found = await window.axe.run(document, { runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'] });
      return found.violations.map((each) => `${each.id}: ${each.nodes.map((node) => node.html).join(' | ')}`);
    });
  for (const [size, how] of Object.entries(sizes)) {
    const { context, page, errors } = await openPage(browser, url, { ...how, look: 'system' }, 'Ana', 'operator');
    await page.locator('figure svg[role="img"]').waitFor();
    // Anew before each room: axe holds a page up, on a busy machine for longer than a lease waits for a sign of life.
    const takeLease = async () => {
      assert.ok((await page.request.post(`${url}api/v1/benches/${server.benches[0]}/lease`, { data: {} })).ok());
      await page.locator('.who .mine').waitFor();
    };
    await page.evaluate(axe);
    for (const room of rooms) {
      await enter(page, room);
      await page.waitForLoadState('networkidle');
      if (room === 'results') await page.locator('p.answer').waitFor();
      if (room === 'plan') await page.getByRole('slider').last().focus(); // with what can be done to a level
      for (const what of room in further ? ['', ', looked into'] : ['']) {
        if (what !== '') {
          await takeLease();
          await further[room](page);
        }
        await check(`${room} on a ${size}${what}: nothing overflows or overlaps`, () => nothingMisplaced(page));
        for (const colorScheme of ['light', 'dark']) {
          await page.emulateMedia({ colorScheme });
          await page.locator(`html[data-look="${colorScheme}"]`).waitFor();
          await check(`${room} on a ${size}${what}, ${colorScheme}: no violation of WCAG 2.2 AA that axe finds`, async () => assert.deepEqual(await violations(page), []));
        }
      }
      await check(`${room} on a ${size}: STOP is seen`, async () => assert.equal(await page.locator('button.stop:visible').count(), 1));
      if (room === 'measure') await page.locator('.who').click();
    }
    await check(`a ${size}: no error in the browser's console`, async () => assert.deepEqual(errors, []));
    await takeLease();
    assert.ok((await page.request.delete(`${url}api/v1/benches/${server.benches[0]}/lease`)).ok());
    await context.close();
  }

  const laptop = sizes.laptop;
  const operator = await openPage(browser, url, laptop, 'Ana', 'instructor');
  const observer = await openPage(browser, url, { ...laptop, viewport: sizes.phone.viewport }, 'Back row', 'observer');
  const { page } = operator;
  const at = `${url}api/v1/benches/${server.benches[0]}`;
  const drive = async (actuator, value) => assert.ok((await page.request.put(`${at}/actuators/${actuator}`, { data: { value } })).ok());

  await check('command is taken by a button, and the fan is driven', async () => {
    await page.getByRole('button', { name: 'Take command' }).first().click();
    await drive('load_selector', 1);
    await drive('rheostat_ohm', 60);
    await command(page, 'fan_pct', 90);
    await told(page, 'fan_pct', '90');
  });
  await check('the observer sees the same, and who commands', async () => {
    await observer.page.locator('.lease', { hasText: 'Ana commands' }).waitFor();
    await told(observer.page, 'fan_pct', '90');
    await openGate(observer.page, 'fan_pct');
    assert.equal(await observer.page.locator('#actuator-fan_pct').isEnabled(), false);
  });
  await check('an observer stops the bench by touch, and all see by whom', async () => {
    await drive('fan_pct', 30);
    await told(observer.page, 'fan_pct', '30');
    await observer.page.locator('button.stop:visible').click();
    for (const where of [page, observer.page]) await where.getByText('Stopped by Back row').waitFor();
    await told(page, 'fan_pct', '0');
  });
  await check('the Escape key, held, stops the bench; a short press does not', async () => {
    await drive('fan_pct', 30);
    await told(page, 'fan_pct', '30');
    const stops = [];
    page.on('request', (request) => request.url().endsWith('/stop') && stops.push(request.url()));
    await page.keyboard.press('Escape');
    await page.evaluate(() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done))));
    assert.deepEqual(stops, []);
    await page.keyboard.down('Escape');
    await page.getByText('Stopped by Ana').waitFor();
    await page.keyboard.up('Escape');
    await told(page, 'fan_pct', '0');
  });
  await check('F2 makes everything larger', async () => {
    const size = () => page.evaluate(() => parseFloat(getComputedStyle(document.documentElement).fontSize));
    const before = await size();
    await page.keyboard.press('F2');
    assert.ok((await size()) > 1.4 * before);
    await page.keyboard.press('F2');
  });
  await check('what is old looks old', async () => {
    await enter(page, 'measure');
    await page.locator('figure svg[role="img"]').waitFor();
    server.child.kill('SIGSTOP');
    await page.locator('figure.stale').waitFor();
    server.child.kill('SIGCONT');
    await page.locator('figure:not(.stale)').waitFor();
  });
} finally {
  await browser.close();
  server.stop();
}
finish();
