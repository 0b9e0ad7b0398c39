// SPDX-License-Identifier: Apache-2.0
// Pictures of the console for the pages: node scripts/pictures.mjs PROGRAM BENCH_FOLDER SCRATCH OUT_FOLDER [RUN].
// The demo bench runs behind them; with RUN, a folder that `conduct` made, Results shows that run.
import { resolve } from 'node:path';
import { enter, freshBench, openPage, startBrowser, startServer, withRun } from '../tests/server.mjs';

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

const browser = await startBrowser();
freshBench(program, benchFolder, scratch);
if (run !== undefined) withRun(program, scratch, resolve(run));
const server = await startServer(program, scratch, { pace: 4 });
try {
  const { page } = await openPage(browser, server.url, { viewport: wide }, 'Bench crew', 'instructor');
  const at = `${server.url}api/v1/benches/${server.benches[0]}`;
  await page.request.post(`${at}/lease`, { data: {} });
  for (const [actuator, value] of [['load_selector', 1], ['rheostat_ohm', 60], ['fan_pct', 85]]) {
    await page.request.put(`${at}/actuators/${actuator}`, { data: { value } });
  }
  await page.waitForTimeout(6_000); // the rotor runs up under a light load, four times as fast
  await page.request.put(`${at}/actuators/rheostat_ohm`, { data: { value: 10 } });
  await page.waitForTimeout(12_000);
  for (const [name, room, how] of pictures) {
    const seen = await openPage(browser, server.url, how, 'Bench crew', 'instructor');
    await enter(seen.page, room);
    await seen.page.waitForTimeout(4_000);
    await seen.page.screenshot({ path: `${out}/${name}.png` });
    await seen.context.close();
  }
} finally {
  await browser.close();
  server.stop();
}
