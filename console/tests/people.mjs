// SPDX-License-Identifier: Apache-2.0
// Several people at one bench, each with a browser of their own, and a server that is killed under their pages in the
// middle of a run: node tests/people.mjs PROGRAM BENCH_FOLDER SCRATCH.
import assert from 'node:assert/strict';
import { writeFileSync } from 'node:fs';
import { connect, createServer } from 'node:net';
import { check, command as set, enter, finish, freshBench, openGate, openPage, shortCampaign, startBrowser, startServer, told } from './server.mjs';

const [program, benchFolder, scratch] = process.argv.slice(2);
const patience = 60_000;
const browser = await startBrowser();
freshBench(program, benchFolder, scratch);
writeFileSync(`${scratch}/bench/campaign.toml`, shortCampaign);

/** Whoever comes through here comes from another address than the server's own computer. */
async function fromAfar(port) {
  const door = createServer((inside) => {
    const outside = connect({ host: '127.0.0.1', port: port.now, localAddress: '127.0.0.2' });
    for (const [from, to] of [[inside, outside], [outside, inside]]) {
      from.pipe(to);
      from.on('error', () => to.destroy());
      from.on('close', () => to.destroy());
    }
  });
  await new Promise((done) => door.listen(0, '127.0.0.1', done));
  return door;
}

const port = { now: 0 };
const door = await fromAfar(port);
const serving = { pace: 8, more: ['--host', `127.0.0.1:${door.address().port}`] };
let server = await startServer(program, scratch, serving);
port.now = server.port;
const wide = { viewport: { width: 1440, height: 900 } };
const ana = (await openPage(browser, server.url, wide, 'Ana', 'operator')).page;
const ben = (await openPage(browser, `http://127.0.0.1:${door.address().port}/`, wide, 'Ben', 'operator')).page;
const olga = (await openPage(browser, server.url, { viewport: { width: 390, height: 844 } }, 'Olga', 'observer')).page;
for (const page of [ana, ben, olga]) page.setDefaultTimeout(patience);
const button = (page, name) => page.getByRole('button', { name, exact: true });
const commands = (page, text) => page.locator('.who .lease', { hasText: text }).waitFor();
/** Hands the command over, as people do it: one offers, the other one takes. */
const handOver = async (from, to, name) => {
  await from.locator('.who').click();
  await from.getByLabel('Hand over to').selectOption(name);
  await button(from, 'Offer').click();
  await from.locator('.who').click();
  await button(to, 'Take the command offered to you').first().click();
  await commands(to, 'you command');
};

try {
  await check('one takes command, the others see who', async () => {
    await button(ana, 'Take command').first().click();
    await commands(ana, 'you command');
    for (const page of [ben, olga]) await commands(page, 'Ana commands');
    for (const page of [ben, olga]) {
      await openGate(page, 'fan_pct');
      assert.equal(await page.locator('#actuator-fan_pct').isEnabled(), false);
    }
  });
  await check('command is handed over to somebody afar, whose start waits for consent', async () => {
    await handOver(ana, ben, 'Ben');
    await commands(ana, 'Ben commands');
    await ben.getByText('You command from afar').waitFor();
    await set(ben, 'fan_pct', 30);
    await ben.getByText(/Not done: .*consent/).waitFor();
  });
  await check('an observer at the bench cannot give it, an operator does, on the screen there', async () => {
    await olga.getByText('Ben commands from afar and starts nothing').waitFor();
    assert.equal(await button(olga, 'Let Ben start').count(), 0);
    await button(ana, 'Let Ben start').click();
    for (const page of [ana, ben, olga]) await page.getByText(/Ana at the bench consents that Ben starts, for one run/).waitFor();
    await set(ben, 'fan_pct', 30);
    for (const page of [ana, ben, olga]) await told(page, 'fan_pct', '30');
  });
  await check('the observer stops the bench by touch, and all see by whom', async () => {
    await olga.locator('button.stop:visible').click();
    for (const page of [ana, ben, olga]) await page.getByText('Stopped by Olga').waitFor();
    for (const page of [ana, ben, olga]) await told(page, 'fan_pct', '0');
    await ana.locator('header .state', { hasText: 'Safe' }).waitFor();
  });
  await check('a consent is withdrawn, and nothing starts any more', async () => {
    await button(ana, 'Withdraw the consent').click();
    await ben.getByText('You command from afar').waitFor();
    await set(ben, 'fan_pct', 20);
    await ben.getByText(/Not done: .*consent/).waitFor();
    await handOver(ben, ana, 'Ana');
    await commands(ben, 'Ana commands');
  });

  let before = 0;
  await check('a run is conducted; what is typed elsewhere waits', async () => {
    await enter(ana, 'plan');
    await ana.getByText(/^6 test points\./).waitFor();
    await ana.getByLabel('Reason, if the bench is not ready').fill('interlocks not proved here');
    await button(ana, 'Conduct it').click();
    await enter(ben, 'logbook');
    await ben.getByLabel('Note').fill('a thought that is not sent yet');
    await ana.getByText(/^[2-5] of 6 test points/).waitFor();
  }, { must: true });
  await check('the server is killed: every page says so, and that what it shows is old', async () => {
    server.child.kill('SIGKILL');
    for (const page of [ana, ben, olga]) await page.getByText('No connection to the server.').waitFor();
    await ana.locator('figure.stale').waitFor();
    before = Number(/^(\d) of 6/.exec(await ana.getByText(/^\d of 6 test points/).textContent())[1]);
  });
  await check('it comes back: every page goes on by itself, in the same room, as the same person', async () => {
    server = await startServer(program, scratch, { ...serving, port: server.port });
    for (const page of [ana, ben, olga]) await page.getByText('The server is back.').waitFor();
    for (const [page, name] of [[ana, 'Ana'], [ben, 'Ben'], [olga, 'Olga']]) await page.locator('.who .name', { hasText: name }).waitFor();
    for (const page of [ana, olga]) await page.locator('figure:not(.stale) svg[role="img"]').waitFor();
    assert.equal(await ben.getByLabel('Note').inputValue(), 'a thought that is not sent yet');
  }, { must: true });
  await check('nothing is lost: the run is taken up where it stood, to its end', async () => {
    await ana.getByText('This run was interrupted: Which pitch for three blades?').waitFor();
    const kept = Number(/^(\d) test points are kept/.exec(await ana.getByText(/test points are kept/).textContent())[1]);
    assert.ok(kept >= before, `${kept} of ${before}`);
    await button(ana, 'Take command').first().click();
    await ana.getByLabel('Reason (it is reported)').fill('the server was killed');
    await button(ana, 'Take it up again').click();
    await ana.getByText(/^\d of 6 test points/).waitFor();
    await ana.getByText(/^6 of 6 test points/).waitFor();
    await ana.getByRole('link', { name: 'See the results' }).click({ timeout: 2 * patience });
    await ana.locator('p.answer').waitFor();
    assert.equal(await ana.locator('article svg g.point').count(), 6);
  });
} catch (fault) {
  console.log(`stopped: ${fault.message}`);
} finally {
  await browser.close();
  server.stop();
  door.close();
}
finish();
