// SPDX-License-Identifier: Apache-2.0
// How soon the page can be used, how much script it takes, and how fast a zoom is drawn:
// node scripts/interactive.mjs PROGRAM BENCH_FOLDER SCRATCH [RECORDING]. With RECORDING (an hour at 250 kS/s: `ninja -C
// build/release hour_recording && build/release/benchmarks/hour_recording FILE`), any zoom of it; without, one of a minute
// that is recorded here, which is no hour. Each figure stands beside its limit; any that is missed makes the exit code 1.
import { spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, readdirSync, readFileSync, symlinkSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { constants, gzipSync, brotliCompressSync } from 'node:zlib';
import { enter, freshBench, openPage, startBrowser, startServer } from '../tests/server.mjs';

const [program, benchFolder, scratch, recording] = process.argv.slice(2);
const navigations = 9;
const assets = fileURLToPath(new URL('../dist/assets', import.meta.url));
let held = true;

/** A figure without a limit: what this machine takes at this moment for next to nothing. */
function sayPeer(what, values) {
  const sorted = [...values].sort((a, b) => a - b);
  console.log(`  beside it ${what}: median ${sorted[Math.floor(sorted.length / 2)].toFixed(1)}, worst ${sorted.at(-1).toFixed(1)} ms of ${values.length}`);
}

function say(what, values, unit, limit) {
  const sorted = [...values].sort((a, b) => a - b);
  const [median, worst] = [sorted[Math.floor(sorted.length / 2)], sorted.at(-1)];
  held &&= worst <= limit;
  console.log(`${what}: median ${median.toFixed(1)}, worst ${worst.toFixed(1)} ${unit} of ${values.length}; limit ${limit} ${worst <= limit ? 'held' : 'NOT HELD'}`);
}

const scripts = readdirSync(assets).filter((name) => name.endsWith('.js')).map((name) => readFileSync(`${assets}/${name}`));
const size = (compress) => scripts.reduce((sum, script) => sum + compress(script).length, 0) / 1000;
say('script, gzip', [size((script) => gzipSync(script))], 'kB', 250);
say('script, brotli', [size((script) => brotliCompressSync(script, { params: { [constants.BROTLI_PARAM_QUALITY]: 11 } }))], 'kB', 250);

const browser = await startBrowser();
freshBench(program, benchFolder, scratch);
mkdirSync(`${scratch}/runs`, { recursive: true });
const file = `${scratch}/runs/hour.h5`;
if (recording !== undefined && existsSync(recording)) symlinkSync(recording, file);
else spawnSync(program, ['record', 'bench/bench.toml', '--seconds', '60', '--into', 'runs/hour.h5', '--reason', 'a benchmark'], { cwd: scratch, stdio: 'ignore' });
const server = await startServer(program, scratch);
spawnSync(program, ['catalogue', 'add', 'runs/hour.h5', '--catalogue', 'runs/catalogue.sqlite'], { cwd: scratch, stdio: 'ignore' });

try {
  // A context of its own each time: nothing is in its cache. Interactive is when the room answers: a tap on the path has
  // opened another room and that is painted.
  const first = [];
  const empty = [];
  for (let k = 0; k < navigations; ++k) {
    const context = await browser.newContext({ viewport: { width: 1440, height: 900 } });
    const page = await context.newPage();
    await page.request.post(`${server.url}api/v1/session`, { data: { name: 'Bench crew', role: 'observer' } });
    await page.addInitScript(() => {
      const look = () => {
        const link = document.querySelector('nav a[href^="#/logbook"]');
        if (document.querySelector('main .inside') === null || link === null) return requestAnimationFrame(look);
        link.click();
        requestAnimationFrame(function painted() {
          if (document.querySelector('.logbook') === null) return requestAnimationFrame(painted);
          requestAnimationFrame(() => (window.interactive_ms = performance.now())); // since the navigation began
        });
      };
      requestAnimationFrame(look);
    });
    await page.goto(`${server.url}#/measure`);
    first.push(await (await page.waitForFunction(() => window.interactive_ms)).jsonValue());
    await context.close();
    const other = await browser.newContext({ viewport: { width: 1440, height: 900 } });
    const blank = await other.newPage();
    await blank.goto('data:text/html,<p>nothing');
    empty.push(await blank.evaluate(() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => done(performance.now()))))));
    await other.close();
  }
  say('page interactive, cold cache', first, 'ms', 1000);
  sayPeer('an empty page', empty);

  // From the press of a button to the picture of the new window: its request answered, drawn, and a frame after.
  const { page } = await openPage(browser, server.url, { viewport: { width: 1440, height: 900 } }, 'Bench crew', 'observer');
  await enter(page, 'results');
  await page.getByRole('link', { name: /recording/ }).first().click();
  const raw = page.locator('section[aria-label="Samples behind a point"]');
  await raw.locator('path.mean').waitFor({ state: 'attached' }); // flat where the mean is
  console.log(`recording: ${await raw.getByText(/samples\./).first().textContent()}`);
  const zoom = (name) => page.evaluate((word) => new Promise((done) => {
    const section = document.querySelector('section[aria-label="Samples behind a point"]');
    const drawn = () => section.querySelector('path.band').getAttribute('d') + section.querySelector('path.mean').getAttribute('d');
    const [before, begun] = [drawn(), performance.now()];
    [...section.querySelectorAll('button')].find((button) => button.textContent === word).click();
    requestAnimationFrame(function look(now) {
      if (now - begun > 5000) return done(NaN); // nothing changed
      if (drawn() === before) return requestAnimationFrame(look);
      requestAnimationFrame(() => done(performance.now() - begun));
    });
  }), name);
  const times = [];
  const frames = [];
  for (let round = 0; round < 3; ++round) {
    for (const step of ['Nearer', 'Nearer', 'Later', 'Nearer', 'Nearer', 'Nearer', 'Nearer', 'Earlier', 'Nearer', 'Farther', 'Farther', 'Farther', 'Farther', 'Farther', 'Farther', 'Farther']) {
      const took = await zoom(step);
      if (Number.isFinite(took)) times.push(took);
      frames.push(await page.evaluate(() => new Promise((done) => {
        const begun = performance.now();
        requestAnimationFrame(() => requestAnimationFrame(() => done(performance.now() - begun)));
      })));
    }
  }
  say('zoom, from the press to the picture', times, 'ms', 100);
  sayPeer('two frames of the same page', frames);
} finally {
  await browser.close();
  server.stop();
}
process.exit(held ? 0 : 1);
