// SPDX-License-Identifier: Apache-2.0
// A server and a browser of one's own, for the console's tests, pictures and benchmark.
import { spawn, spawnSync } from 'node:child_process';
import { cpSync, existsSync, mkdirSync, rmSync, writeFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { chromium } from 'playwright-core';

const dist = fileURLToPath(new URL('../dist', import.meta.url));
const executablePath = process.env.CHROMIUM ?? '/usr/bin/chromium';

/** Six points, settled and measured in seconds. */
export const shortCampaign = `schema = 1
title = "Which pitch for three blades?"
bench = "bench.toml"
operator = "Bench crew"
seed = 11
repeats = 1
[question]
text = "Which pitch turns the largest part of the wind into electricity?"
response = "maximum_cp"
factors = ["pitch_deg"]
level_pct = 95
[[factor]]
actuator = "pitch_deg"
levels = [5, 10]
hard_to_change = true
[[factor]]
actuator = "rheostat_ohm"
levels = [8, 15, 30]
[constants]
fan_pct = 70
load_selector = "rheostat"
blade_count = 3
[pace]
settle_window_s = 1
settle_drift_pct = 5
longest_settle_s = 8
shortest_dwell_s = 2
longest_dwell_s = 3
target_u_pct = 2
`;

/** Debian's chromium, or the program that CHROMIUM names; without one, exit 77 (skipped). */
export async function startBrowser() {
  if (!existsSync(executablePath)) {
    console.log(`skipped: no ${executablePath}`);
    process.exit(77);
  }
  return chromium.launch({ executablePath, args: ['--no-sandbox', '--disable-gpu'] });
}

/** Ends with 77 (skipped) where the program has no server. */
function needServer(program) {
  if (spawnSync(program, ['serve', '--help']).stdout.includes('--console')) return;
  console.log('skipped: this program does not serve');
  process.exit(77);
}

/** A fresh folder with a copy of the bench, its sensors calibrated but those whose certificates are left out; without any
 *  left out its interlocks are proved as well. */
export function freshBench(program, benchFolder, scratch, without = []) {
  needServer(program);
  rmSync(scratch, { recursive: true, force: true });
  mkdirSync(scratch, { recursive: true });
  cpSync(benchFolder, `${scratch}/bench`, { recursive: true });
  const { status } = spawnSync(program, ['calibrate', 'bench/bench.toml'], { cwd: scratch, stdio: 'ignore' });
  if (status !== 0) throw new Error(`calibrate ended with ${status}`);
  if (without.length === 0) spawnSync(program, ['ready', 'bench/bench.toml', '--prove-interlocks'], { cwd: scratch, stdio: 'ignore' });
  for (const channel of without) rmSync(`${scratch}/bench/certificates/${channel}.json`);
}

/** A run in the catalogue, as `conduct` makes it: one that is there, or six points. */
export function withRun(program, scratch, there) {
  mkdirSync(`${scratch}/runs/bench`, { recursive: true });
  const must = (...words) => {
    const { status } = spawnSync(program, words, { cwd: scratch, stdio: 'ignore' });
    if (status !== 0) throw new Error(`${words[0]} ended with ${status}`);
  };
  if (there !== undefined) {
    cpSync(there, `${scratch}/runs/bench/001`, { recursive: true });
  } else {
    writeFileSync(`${scratch}/bench/short.toml`, shortCampaign);
    must('conduct', 'bench/short.toml', '--into', 'runs/bench/001', '--reason', 'a test');
  }
  must('catalogue', 'add', 'runs/bench/001', '--catalogue', 'runs/catalogue.sqlite');
}

/** Serves that bench; answers when it is there. A pace above 1: simulated time goes by so much faster. */
export async function startServer(program, scratch, { port = 0, pace = 1, more = [] } = {}) {
  const args = ['serve', '--bench', 'bench/bench.toml', '--listen', `127.0.0.1:${port}`, '--runs', 'runs', '--console', dist, '--json', '--pace', String(pace), ...more];
  const child = spawn(program, args, { cwd: scratch, stdio: ['ignore', 'pipe', 'inherit'] });
  const said = await new Promise((done, failed) => {
    let text = '';
    child.stdout.on('data', (data) => {
      text += data;
      try {
        done(JSON.parse(text));
      } catch {
        // not the whole document yet
      }
    });
    child.on('exit', (code) => failed(new Error(`serve ended with ${code}`)));
  });
  return { child, ...said, stop: () => child.kill('SIGTERM') };
}

/** A page with a session, and what its console complained about. */
export async function openPage(browser, url, { viewport, projector = 'no', look = 'light', language = 'en' }, name, role) {
  const context = await browser.newContext({ viewport, acceptDownloads: true });
  await context.addInitScript(
    (kept) => Object.entries(kept).forEach(([key, value]) => localStorage.setItem(`windwright.${key}`, value)),
    { projector, look, language },
  );
  const page = await context.newPage();
  const errors = [];
  page.on('pageerror', (error) => errors.push(error.message));
  page.on('console', (message) => {
    if (message.type() === 'error') errors.push(`${message.text()} ${message.location().url}`);
  });
  if (name !== null) await page.request.post(`${url}api/v1/session`, { data: { name, role } });
  await page.goto(`${url}#/measure`);
  return { context, page, errors };
}

/** Opens a room by its place on the path. */
export async function enter(page, room) {
  await page.locator(`nav a[href^="#/${room}"]`).click();
  await page.locator(`nav a[aria-current="page"][href^="#/${room}"]`).waitFor();
}

const problems = [];
let passed = 0;

/** One claim: said when it holds, kept when it does not. With `must`, nothing after it makes sense without it. */
export async function check(name, body, { must = false } = {}) {
  const begun = Date.now();
  try {
    await body();
    ++passed;
    console.log(`ok ${name} (${((Date.now() - begun) / 1000).toFixed(1)} s)`);
  } catch (fault) {
    problems.push(name);
    console.log(`not ok ${name}\n${fault.stack}`);
    if (must) throw fault;
  }
}

/** Ends the test with what it found. */
export function finish() {
  console.log(`${passed} passed, ${problems.length} failed`);
  process.exit(problems.length > 0 ? 1 : 0);
}

/** Where along the river an actuator of the demo bench acts. */
const gates = { fan_pct: 'wind', blade_count: 'rotor', pitch_deg: 'rotor', load_selector: 'dc_load', rheostat_ohm: 'dc_load' };

export const gateOf = (page, actuator) => page.locator(`button.gate[data-stage="${gates[actuator]}"]`);

/** Opens the gate that an actuator belongs to, as whoever wants to change it does. */
export async function openGate(page, actuator) {
  const gate = gateOf(page, actuator);
  if ((await gate.getAttribute('aria-expanded')) !== 'true') await gate.click();
  await page.locator(`#actuator-${actuator}`).waitFor();
}

/** Says what is wanted, waits until it is foretold, and makes it so. */
export async function command(page, actuator, value) {
  await openGate(page, actuator);
  const form = page.locator('form', { has: page.locator(`#actuator-${actuator}`) });
  await page.locator(`#actuator-${actuator}`).fill(String(value));
  await form.locator('.foretold').waitFor();
  await form.locator('button.make').click();
}

/** What an actuator was told is seen at its gate. */
export const told = (page, actuator, value) => gateOf(page, actuator).locator('b', { hasText: value }).first().waitFor();
