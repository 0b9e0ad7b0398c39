// SPDX-License-Identifier: Apache-2.0
// Pictures of the console for the pages: node scripts/pictures.mjs PROGRAM BENCH_FOLDER SCRATCH OUT_FOLDER [RUN].
// The demo bench runs behind them; with RUN, a folder that `conduct` made, Results shows that run.
import { resolve } from 'node:path';
import { enter, freshBench, openGate, openPage, startBrowser, startServer, withRun } from '../tests/server.mjs';

const [program, benchFolder, scratch, out, run] = process.argv.slice(2);
const wide = { width: 1440, height: 900 };
const pictures = [
  ['console-measure', 'measure', { viewport: wide }],
  ['console-measure-dark', 'measure', { viewport: { width: 1920, height: 1080 }, projector: 'yes', look: 'dark' }],
  ['console-phone', 'measure', { viewport: { width: 390, height: 844 }, language: 'es' }],
  ['console-plan', 'plan', { viewport: wide }],
  ['console-ready', 'ready', { viewport: wide }],
  ['console-results', 'results', { viewport: wide }],
];

// What has to be there before a room's picture is taken, and nothing that counts seconds: on a busy
// machine everything comes later, on an idle one at once.
const shown = {
  measure: async (page) => {
    await page.locator('.level[data-channel="rotor_speed_rad_s"] .course', { hasText: /steady|estable/ }).waitFor();
    await page.locator('circle.seen').nth(6).waitFor(); // of one quantity against another
    await page.locator('section path.line').waitFor(); // by frequency
  },
  plan: (page) => page.locator('svg g.point').first().waitFor(),
  ready: (page) => page.locator('section[aria-label="Interlocks"] li').first().waitFor(),
  results: async (page) => {
    if (run !== undefined) await page.locator('p.answer').waitFor();
    await page.locator('path.mean').first().waitFor({ state: 'attached' });
  },
};

const browser = await startBrowser();
freshBench(program, benchFolder, scratch);
if (run !== undefined) withRun(program, scratch, resolve(run));
const server = await startServer(program, scratch, { pace: 4 });
const at = `${server.url}api/v1/benches/${server.benches[0]}`;
const patience = 120_000;
let keeping;
try {
  const { context, page } = await openPage(browser, server.url, { viewport: wide }, 'Bench crew', 'instructor');
  /** Asks the server; a refusal ends it, in the server's words. */
  const ask = async (method, path, data) => {
    const answer = await context.request.fetch(at + path, { method, ...(data === undefined ? {} : { data }) });
    if (!answer.ok()) throw new Error(`${method} ${path}: ${await answer.text()}`);
    return answer.json();
  };
  const until = async (path, holds) => {
    for (const begun = Date.now(); Date.now() - begun < patience; await new Promise((done) => setTimeout(done, 250))) {
      if (holds(await ask('GET', path))) return;
    }
    throw new Error(`GET ${path}: not what it should come to`);
  };
  const reading = (answer, name) => answer.readings.find((each) => each.name === name);
  await ask('POST', '/lease', {});
  // Kept from here: a page that takes pictures on a busy machine is silent for longer than a lease allows, and the bench
  // then trips, as it should.
  keeping = setInterval(() => ask('PUT', '/lease', {}).catch((refused) => console.error(refused.message)), 1000);
  for (const [actuator, value] of [['load_selector', 1], ['rheostat_ohm', 60], ['fan_pct', 85]]) {
    await ask('PUT', `/actuators/${actuator}`, { value });
  }
  await until('/readings', (now) => reading(now, 'rotor_speed_rad_s')?.value > 200); // it runs up under a light load
  await ask('PUT', '/actuators/rheostat_ohm', { value: 10 });
  const settled = ['air_speed_m_s', 'rotor_speed_rad_s', 'dc_voltage_V', 'dc_current_A'];
  await until('/readings', (now) => settled.every((name) => reading(now, name)?.course === 'steady') && reading(now, 'rotor_speed_rad_s').value < 300);
  for (const [name, room, how] of pictures) {
    const seen = await openPage(browser, server.url, how, 'Bench crew', 'instructor');
    seen.page.setDefaultTimeout(patience);
    await enter(seen.page, room);
    await seen.page.waitForLoadState('networkidle');
    await shown[room](seen.page);
    await seen.page.screenshot({ path: `${out}/${name}.png` });
    await seen.context.close();
  }
  // What is told before anything is done: on the page that commands.
  await page.setViewportSize({ width: 1440, height: 1200 }); // all of it
  await page.reload();
  await openGate(page, 'fan_pct');
  await page.locator('#actuator-fan_pct').fill('95');
  await page.locator('.foretold p', { hasText: 'By theory' }).waitFor();
  await page.locator('section.whole').screenshot({ path: `${out}/console-gate.png` });
  const { tripped } = await ask('GET', '/state');
  if (tripped !== null) throw new Error(`the bench has tripped: ${tripped.cause}`);
} finally {
  clearInterval(keeping);
  await browser.close();
  server.stop();
}
