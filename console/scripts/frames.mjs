// SPDX-License-Identifier: Apache-2.0
// Frames a second of the Measure room with nine live strips, beside an empty page in the same
// browser: node scripts/frames.mjs PROGRAM BENCH_FOLDER SCRATCH. Waits more than 25 ms are dropped frames.
import { freshBench, openPage, startBrowser, startServer } from '../tests/server.mjs';

const [program, benchFolder, scratch] = process.argv.slice(2);
const seconds = 10;

/** Runs in the page. */
const count = (length_s) =>
  new Promise((done) => {
    const begun = performance.now();
    let [before, frames, dropped] = [begun, 0, 0];
    requestAnimationFrame(function frame(now) {
      ++frames;
      if (now - before > 25) dropped += Math.round((now - before) / (1000 / 60)) - 1;
      before = now;
      if (now - begun < 1000 * length_s) requestAnimationFrame(frame);
      else done({ frames_s: frames / length_s, dropped });
    });
  });

const browser = await startBrowser();
freshBench(program, benchFolder, scratch);
const server = await startServer(program, scratch);
try {
  const { page } = await openPage(browser, server.url, { viewport: { width: 1440, height: 900 } }, 'Bench crew', 'observer');
  // As many levels over time as there may be.
  const chosen = async (pressed) => page.locator(`button.level[aria-pressed="${pressed}"]`);
  await page.locator('button.level').first().waitFor();
  while ((await (await chosen(true)).count()) < 9) await (await chosen(false)).first().click();
  const empty = await browser.newPage();
  for (let round = 0; round < 3; ++round) {
    await empty.bringToFront();
    const peer = await empty.evaluate(count, seconds);
    await page.bringToFront();
    await page.locator('canvas').waitFor();
    const measured = await page.evaluate(count, seconds);
    console.log(`measure ${measured.frames_s.toFixed(1)} frames/s, ${measured.dropped} dropped; empty page ${peer.frames_s.toFixed(1)}, ${peer.dropped} dropped`);
  }
} finally {
  await browser.close();
  server.stop();
}
