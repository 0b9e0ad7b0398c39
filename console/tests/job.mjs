// SPDX-License-Identifier: Apache-2.0
// A whole session at the bench, by clicks and keys alone, from the cautions to the report:
// node tests/job.mjs PROGRAM BENCH_FOLDER SCRATCH. The bench is simulated, its time goes by faster; everything
// waits for what the page shows.
import assert from 'node:assert/strict';
import { readFileSync, writeFileSync } from 'node:fs';
import { check, command, enter, finish, freshBench, openGate, openPage, startBrowser, startServer, told } from './server.mjs';

const [program, benchFolder, scratch] = process.argv.slice(2);
const pace = Number(process.env.PACE ?? 8);
const patience = 60_000;
const browser = await startBrowser();

freshBench(program, benchFolder, scratch, ['dc_current_A']);
// A bound that a campaign can reach: at full fan the air is at 14 m/s.
const described = readFileSync(`${scratch}/bench/bench.toml`, 'utf8');
assert.ok(described.includes('highest = 15.0'));
writeFileSync(`${scratch}/bench/bench.toml`, described.replace('highest = 15.0', 'highest = 13.5'));
const server = await startServer(program, scratch, { pace });
try {
  const { page, errors } = await openPage(browser, server.url, { viewport: { width: 1440, height: 900 } }, null);
  page.setDefaultTimeout(patience);
  const sheet = (name) => page.getByRole('region', { name, exact: true });
  const button = (name, where = page) => where.getByRole('button', { name, exact: true });
  const fill = async (field, value) => {
    await field.fill(value);
    await field.blur();
  };
  const must = { must: true };

  await check('a name and a role, and the bench is there', async () => {
    await page.getByLabel('Name').fill('Ana');
    await page.getByRole('radio', { name: /^Operator/ }).check();
    await button('Enter').click();
    await page.locator('header', { hasText: 'Saltmarsh College wind bench' }).waitFor();
    await enter(page, 'ready');
  }, must);

  await check('the cautions are acknowledged, and by whom is shown', async () => {
    await page.getByText('Rotating blades: keep the guard closed').waitFor();
    await button('I have read them and follow them').click();
    await page.getByText(/Acknowledged by Ana/).waitFor();
  });
  await check('every step before the session is ticked off', async () => {
    const boxes = sheet('Before the session').getByRole('checkbox');
    const count = await boxes.count();
    assert.equal(count, 16);
    for (let k = 0; k < count; ++k) {
      await boxes.nth(k).click();
      await sheet('Before the session').locator('li').nth(k).getByText(/Ana, /).waitFor();
    }
  });

  await check('a channel is calibrated live: input, voltage, residuals that grow; signed and in force', async () => {
    await button('Take command').first().click();
    await page.getByText('you command').waitFor();
    const calibration = page.locator('section[aria-label="Calibrate a channel"]');
    await calibration.getByRole('combobox').selectOption('dc_current_A');
    // Seen from within the page: a busy computer may be done before this one looks.
    await calibration.evaluate((section) => {
      const seen = (globalThis.residualsSeen = new Set());
      new MutationObserver(() => seen.add(section.querySelectorAll('svg circle').length)).observe(section, {
        childList: true,
        subtree: true,
      });
    });
    await button('Begin', calibration).click();
    await calibration.locator('dt', { hasText: 'Known input' }).waitFor();
    const shown = async (word) => calibration.locator('dl div', { hasText: word }).locator('dd').textContent();
    assert.match(await shown('Known input'), /^[\d.]+\u00a0A$/);
    await calibration.locator('dl div', { hasText: 'Voltage' }).locator('dd', { hasText: /^\d+\.\d{4}\u00a0V$/ }).waitFor();
    await calibration.getByText('27 of 27 readings').waitFor();
    assert.equal(await calibration.locator('svg circle').count(), 27);
    const grown = await page.evaluate(() => [...globalThis.residualsSeen].filter((dots) => dots > 0 && dots < 27));
    assert.ok(grown.length > 3, `the residuals grow before the last reading: ${grown}`);
    await calibration.getByText(/Expanded uncertainty of the proposed certificate/).waitFor();
    await button('Sign and put in force', calibration).click();
    await page.getByText('DC current: the certificate is signed and in force.').waitFor();
    const row = page.locator('section[aria-label="Certificates"] tr', { hasText: 'DC current' });
    await row.getByText('in force').waitFor();
    const kept = JSON.parse(readFileSync(`${scratch}/bench/certificates/dc_current_A.json`, 'utf8'));
    assert.equal(kept.channel, 'dc_current_A');
    assert.match(readFileSync(`${scratch}/bench/readings/dc_current_A.csv`, 'utf8'), /signed by Ana/);
    // The simulated sensor gives 1 V/A, within its stated 0.4 %.
    const [, slope] = kept.fit.coefficients;
    assert.ok(Math.abs(slope - 1) < 0.02, `${slope} V/A`);
  }, must);

  await check('the check standards are measured now, with E_n of every channel', async () => {
    const standards = page.locator('section[aria-label="Check standards"]').first();
    await button('Measure now', standards).click();
    await standards.locator('li').nth(13).waitFor();
    for (const row of await standards.locator('li .en').allTextContents()) {
      const en = Number(/En ([−\d.]+) *✓ agrees/.exec(row.replace(/\s+/g, ' '))?.[1]?.replace('−', '-'));
      assert.ok(Math.abs(en) <= 1, row);
    }
  }, must);

  await check('before they are proved the fan asks for a reason, and waits for it', async () => {
    await enter(page, 'measure');
    await openGate(page, 'fan_pct');
    await page.locator('#actuator-fan_pct').fill('5');
    const make = button('Fan to 5\u00a0%');
    await page.getByText('The interlocks do not count as proved:').waitFor();
    await make.waitFor();
    assert.equal(await make.isEnabled(), false);
    await page.getByLabel('Reason to drive all the same (it is noted)').fill('to see that it asks');
    assert.equal(await make.isEnabled(), true);
    await button('Leave it').click();
    await enter(page, 'ready');
  });

  await check('the interlocks are proved, once what matters is confirmed', async () => {
    const interlocks = page.locator('section[aria-label="Interlocks"]');
    await interlocks.getByText('Never proved').waitFor();
    await button('Prove them …', interlocks).click();
    const go = button('Make each of them trip', interlocks);
    for (const box of await interlocks.locator('.confirm').filter({ hasNotText: 'calibrator' }).getByRole('checkbox').all()) {
      assert.equal(await go.isEnabled(), false);
      await box.check();
    }
    await go.click();
    // Simulated time goes by fast: a page on a busy machine may come to look when it is over.
    const over = interlocks.getByText(/Proved by Ana on/);
    await interlocks.getByText(/\d+ of 14 proved; now:/).or(over).first().waitFor();
    await page.locator('header', { hasText: 'proving interlocks' }).or(over).first().waitFor();
    await interlocks.getByText(/Proved by Ana on/).waitFor();
    assert.equal(await interlocks.locator('li .good').count(), 14);
    await page.getByText('The bench is ready: plan or measure.').waitFor();
  }, must);

  await check('six points are planned: by form, by hand, saved under another name', async () => {
    await enter(page, 'plan');
    await button('No longer vary Number of blades').click();
    await fill(page.getByRole('spinbutton', { name: /^Number of blades/ }), '3');
    await fill(page.getByRole('textbox', { name: /^Blade pitch/ }), '5 10');
    await fill(page.getByRole('textbox', { name: /^Rheostat/ }), '8 15 30');
    await fill(page.getByRole('spinbutton', { name: 'Times each point' }), '1');
    await page.getByText(/^6 test points\./).waitFor();
    assert.equal(await page.locator('section[aria-label="The test points"] svg g.point').count(), 6);
    await button('campaign.toml by hand').click();
    const text = page.getByRole('textbox', { name: 'campaign.toml by hand' });
    const planned = await text.inputValue();
    await text.fill(planned.replace('[8, 15, 30]', '[8, 15, 3000]'));
    const line = planned.split('\n').findIndex((each) => each.includes('[8, 15, 30]')) + 1;
    await page.getByRole('button', { name: new RegExp(`^campaign.toml:${line}: .*3000`) }).waitFor();
    await text.fill(planned.replace(/shortest_dwell_s = .*/, 'shortest_dwell_s = 2').replace(/longest_dwell_s = .*/, 'longest_dwell_s = 3 # short'));
    await page.getByRole('button', { name: /^campaign.toml:/ }).waitFor({ state: 'detached' });
    await page.getByLabel('Another name').fill('six');
    await button('Save as').click();
    await page.getByText('Saved in six.toml.').waitFor();
    assert.match(readFileSync(`${scratch}/bench/six.toml`, 'utf8'), /longest_dwell_s = 3 # short/);
  }, must);
  await check('a pitch is set on the map: by keys, by drawing it, one more and one less', async () => {
    await button('As a form').click();
    const map = page.locator('section[aria-label="The test points"]');
    const pitches = page.getByRole('textbox', { name: /^Blade pitch/ });
    const come = (levels) => page.waitForFunction((wanted) => [...document.querySelectorAll('input')].some((each) => each.value === wanted), levels);
    const handle = map.getByRole('slider').nth(1);
    await handle.focus();
    await handle.press('ArrowUp');
    await handle.press('ArrowUp');
    await come('5  11');
    const [from, to] = [await handle.boundingBox(), await map.getByRole('slider').nth(0).boundingBox()];
    const rise = (to.y - from.y) / 6; // of a degree
    await page.mouse.move(from.x + 10, from.y + from.height / 2);
    await page.mouse.down();
    await page.mouse.move(from.x + 30, from.y + from.height / 2 + 0.5 * rise, { steps: 4 });
    await page.mouse.move(from.x + 30, from.y + from.height / 2 + rise, { steps: 4 });
    await page.mouse.up();
    await come('5  10');
    await button('One more pitch', map).click();
    await come('5  10  7.5');
    await page.getByText(/^9 test points\./).waitFor();
    await button('Without 7.5°', map).click();
    await come('5  10');
    assert.equal(await pitches.inputValue(), '5  10');
    await page.getByText(/^6 test points\./).waitFor();
  });
  await check('a handle on the map is drawn by one finger alone, and one that is not drawn on leaves nothing behind', async () => {
    const map = page.locator('section[aria-label="The test points"]');
    const pitches = page.getByRole('textbox', { name: /^Blade pitch/ });
    const handle = (k) => map.getByRole('slider', { name: `Pitch level ${k} of 2`, exact: true });
    const middle = async (k) => {
      const box = await handle(k).boundingBox();
      return { x: box.x + 12, y: box.y + box.height / 2 };
    };
    const isOnTheMap = async (k) => {
      const [at, box] = [await middle(k), await map.locator('svg').boundingBox()];
      return at.y > box.y && at.y < box.y + box.height;
    };
    const say = (k, type, how) => handle(k).evaluate((element, [kind, more]) => element.dispatchEvent(new PointerEvent(kind, { bubbles: true, ...more })), [type, how]);
    await fill(pitches, '5  10');
    const [low, high] = [await middle(1), await middle(2)];
    const rise = (low.y - high.y) / 5; // of a degree

    // Let go where it was taken: the next one is free to go, and the map goes along.
    await page.mouse.move(low.x, low.y);
    await page.mouse.down();
    await page.mouse.move(low.x, low.y - 2 * rise, { steps: 4 });
    await page.mouse.move(low.x, low.y, { steps: 4 });
    await page.mouse.up();
    assert.equal(await pitches.inputValue(), '5  10');
    await handle(2).press('End');
    assert.equal(await pitches.inputValue(), '5  20');
    assert.ok(await isOnTheMap(2));
    await handle(2).press('Home');
    await handle(1).press('ArrowDown'); // at 5; nothing is below 0
    assert.equal(await pitches.inputValue(), '4.5  0');
    await fill(pitches, '5  10');

    // Torn from the finger, by another button, by a finger more.
    const draw = async (k, up, between = async () => {}, button = 'left') => {
      const at = await middle(k);
      await page.mouse.move(at.x, at.y);
      await page.mouse.down({ button });
      await page.mouse.move(at.x, at.y - up * rise, { steps: 4 });
      await between();
      await page.mouse.up({ button });
      return pitches.inputValue();
    };
    assert.equal(await draw(1, 2, () => say(1, 'pointercancel', { pointerId: 1 })), '5  10');
    assert.equal(await draw(1, 2, () => handle(1).evaluate((element) => element.releasePointerCapture(1))), '5  10');
    assert.equal(await draw(1, 2, undefined, 'right'), '5  10');
    const fingers = await page.context().newCDPSession(page);
    const touch = (type, ...up) => fingers.send('Input.dispatchTouchEvent', {
      type,
      touchPoints: up.map((by, id) => ({ id, x: [low, high][id].x, y: [low, high][id].y - by * rise })),
    });
    await touch('touchStart', 0);
    await touch('touchStart', 0, 0);
    for (const part of [0.5, 1]) await touch('touchMove', 2 * part, 3 * part);
    await touch('touchEnd');
    await page.waitForFunction(() => [...document.querySelectorAll('input')].some((each) => each.value === '7  10'));

    // Keys go past a neighbour, and a key that is held takes one away, not one after the other.
    await fill(pitches, '9.5  10');
    await handle(1).press('ArrowUp');
    assert.equal(await pitches.inputValue(), '10.5  10');
    await fill(pitches, '5  10  12  15');
    await map.getByRole('slider').nth(3).focus();
    for (let times = 0; times < 3; ++times) await page.keyboard.down('Delete');
    await page.keyboard.up('Delete');
    assert.equal(await pitches.inputValue(), '5  10  12');
    assert.ok(await map.getByRole('slider').nth(2).evaluate((element) => element === document.activeElement));
    await fill(pitches, '5  10');
    await page.getByText(/^6 test points\./).waitFor();
  });
  await check('a point that would trip is marked before anyone runs it', async () => {
    await button('As a form').click();
    const fan = page.getByRole('spinbutton', { name: /^Fan/ });
    await fill(fan, '5');
    await page.getByText('Would not turn: 6.').waitFor();
    await fill(fan, '100');
    await page.getByText('Would trip an interlock: 6.').waitFor();
    assert.equal(await page.locator('tr.trips').count(), 6);
  });

  await check('the points are conducted; paused after one', async () => {
    await page.locator('#campaign').selectOption('campaign.toml');
    await page.locator('#campaign').selectOption('six.toml');
    await page.getByText(/^6 test points\./).waitFor();
    await button('Conduct it').click();
    await page.locator('nav a[aria-current="page"]', { hasText: 'Measure' }).waitFor();
    await page.getByText(/^[1-5] of 6 test points/).waitFor();
    await button('Pause after this block').click();
    await button('Go on').waitFor();
  }, must);

  await check('a trip is caused, told with its first cause, and reset with what was found', async () => {
    await openGate(page, 'load_selector');
    if ((await page.locator('#actuator-load_selector button.here').textContent()) !== 'rheostat') {
      await button('rheostat', page.locator('#actuator-load_selector')).click();
      await button('Load to rheostat').click();
    }
    await command(page, 'rheostat_ohm', 60);
    await told(page, 'rheostat_ohm', '60');
    await openGate(page, 'fan_pct');
    await page.locator('#actuator-fan_pct').fill('90');
    await page.getByText(/The rotor will turn: guard closed, nobody near/).waitFor();
    await page.getByText(/By theory, once it has settled: .*Rotor speed/).waitFor();
    await button('Fan to 90\u00a0%').click();
    await told(page, 'fan_pct', '90');
    await page.waitForFunction(() => parseFloat(document.querySelector('.level[data-channel="rotor_speed_rad_s"] .value')?.textContent ?? '0') > 200);
    await command(page, 'rheostat_ohm', 2);
    const trip = page.locator('section.trip');
    await trip.getByRole('heading', { name: /DC over-current/ }).waitFor();
    await trip.getByText('check rheostat and wiring for a short').waitFor();
    assert.equal(await button('Go on').isEnabled(), false, 'nothing goes on before the reset');
    await trip.getByLabel('What was found and done').fill('The rheostat stood at its end.');
    await button('Reset', trip).click();
    await trip.waitFor({ state: 'detached' });
  }, must);
  await check('it goes on where it stood, to the end', async () => {
    await button('Go on').click();
    await page.getByText(/^6 of 6 test points/).waitFor();
    await page.getByRole('link', { name: 'See the results' }).click({ timeout: 2 * patience });
  }, must);

  await check('the verdict is read, in words, with curves and their uncertainty', async () => {
    await page.locator('p.answer').waitFor();
    assert.match(await page.locator('p.answer').textContent(), /^(5|10) deg gives the largest electrical power coefficient/);
    assert.equal(await page.locator('article svg g.point').count(), 6);
    assert.ok((await page.locator('article svg path.bar').count()) >= 6);
  });
  await check('the samples behind a point are looked at, nearer and nearer, and the link shows just that', async () => {
    await page.locator('article svg g.point circle.catch').last().click();
    const raw = page.locator('section[aria-label="Samples behind a point"]');
    await raw.getByText(/^[23]\d{3} samples/).waitFor(); // of a dwell of 2 to 3 s at 1 kHz, gaps before it or not
    for (let k = 0; k < 3; ++k) await button('Nearer', raw).click();
    await raw.getByText(/^\d{2} samples/).waitFor();
    const link = page.url();
    const shown = await raw.locator('svg path.mean').getAttribute('d');
    const other = await page.context().newPage();
    await other.setViewportSize({ width: 1440, height: 900 });
    await other.goto(link);
    const again = other.locator('section[aria-label="Samples behind a point"] svg path.mean');
    await other.waitForFunction((wanted) => document.querySelector('section[aria-label="Samples behind a point"] svg path.mean')?.getAttribute('d') === wanted, shown);
    assert.equal(await again.getAttribute('d'), shown);
    await other.close();
  });
  await check('the report is downloaded, as PDF', async () => {
    const begun = page.waitForEvent('download');
    await page.getByRole('link', { name: 'Report, PDF' }).click();
    const file = await (await begun).path();
    assert.equal(readFileSync(file).subarray(0, 5).toString(), '%PDF-');
  });
  await check('the logbook has it all', async () => {
    await enter(page, 'logbook');
    for (const event of ['Proof', 'Certificate', 'Check', 'Trip', 'Reset', 'Campaign', 'Test point', 'Step']) {
      await page.locator('li .event', { hasText: event }).first().waitFor();
    }
  });
  await check('no error in the browser\'s console', async () => assert.deepEqual(errors, []));
} catch (fault) {
  console.log(`stopped: ${fault.message}`);
} finally {
  await browser.close();
  server.stop();
}
finish();
