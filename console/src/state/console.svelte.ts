// SPDX-License-Identifier: Apache-2.0
// What the console knows of server, session and bench. Everything in it came from the API.
import type { Bench, Chain, LiveMessage, Operations, Reading, Session, State } from '../wire/api';
import { call, Refusal, unreachable, type Call } from '../wire/client';
import type { Envelope } from '../wire/envelope';
import { LiveLine } from '../wire/live';
import { StripWindow } from '../draw/strip_window';
import { route } from './route.svelte';

export type BenchNote = Operations['benches']['answer']['benches'][number];
export type Line = 'connecting' | 'open' | 'lost';
export interface Happened {
  readonly time: string;
  readonly event: string;
  readonly text: string;
  readonly person: string;
}

const silentAfter_s = 2.5; // the server speaks once a second
const keptEvents = 50;

class Console {
  session = $state<Session | null>(null);
  serverGone = $state(false);
  benches = $state.raw<readonly BenchNote[]>([]);
  bench = $state.raw<Bench | null>(null);
  state = $state.raw<State | null>(null);
  chain = $state.raw<Chain | null>(null);
  readings = $state.raw<readonly Reading[]>([]);
  strips = $state.raw<StripWindow | null>(null);
  newest = $state.raw<ReadonlyMap<string, number>>(new Map());
  events = $state.raw<readonly Happened[]>([]);
  line = $state<Line>('connecting');
  heard_ms = $state(0); // when the last state came, on this page's clock
  now_ms = $state(performance.now());
  refused = $state.raw<Refusal | null>(null); // the last command that was not done
  window_s = $state(60);
  stopping = $state(false);
  lives = $state(0); // of the server, since this page came: what was asked for is asked for again
  stopped = $state.raw<Happened | null>(null); // by whom, until somebody commands again
  /** Envelopes are told at once to who draws. */
  onSample: (() => void) | null = null;

  silent = $derived(this.heard_ms > 0 && this.now_ms - this.heard_ms > 1000 * silentAfter_s);
  /** Age of the newest sample, as the server said and as it has grown since. */
  age_s = $derived(this.state === null ? null : this.state.age_s + Math.max(0, this.now_ms - this.heard_ms) / 1000);
  stale = $derived(this.state === null || this.state.stale || this.silent || this.line !== 'open');
  person = $derived(this.session?.person ?? null);
  commands = $derived(this.state?.lease.mine ?? false);
  tripped = $derived(this.state?.tripped ?? null);

  private live: LiveLine | null = null;
  private stream = -1;
  private keeping: ReturnType<typeof setInterval> | null = null;

  async begin(): Promise<void> {
    setInterval(() => (this.now_ms = performance.now()), 250);
    await this.meet();
  }

  /** Asks who this is; tries again until there is an answer. */
  async meet(): Promise<void> {
    try {
      const session = await call('session');
      this.serverGone = false;
      if (session.person !== null) await this.enter();
      this.session = session; // shown once there is something to show: each picture takes its time
    } catch (refusal) {
      if (!(refusal instanceof Refusal)) throw refusal;
      this.serverGone = unreachable(refusal);
      setTimeout(() => void this.meet(), 1000);
    }
  }

  async logIn(body: Operations['log_in']['body']): Promise<void> {
    const session = await call('log_in', { body });
    await this.enter();
    this.session = session;
  }

  /** The server began anew and knows nobody: where a name is enough, it is given again. */
  private async logInAgain(before: Session, now: Session): Promise<Session | null> {
    if (now.accounts || before.person === null || before.server.started === now.server.started) return null;
    const { name, role } = before.person;
    return call('log_in', { body: { name, role } });
  }

  async logOut(): Promise<void> {
    await call('log_out');
    this.leaveBench();
    this.session = await call('session');
  }

  private async enter(): Promise<void> {
    this.benches = (await call('benches')).benches;
    const wanted = route.get('bench');
    const bench = this.benches.find((each) => each.id === wanted) ?? this.benches[0];
    if (bench !== undefined) await this.openBench(bench.id);
  }

  async openBench(id: string): Promise<void> {
    this.leaveBench();
    const at = { bench: id };
    const [bench, state] = await Promise.all([call('bench', { at }), call('state', { at })]);
    this.bench = bench;
    this.hear(state);
    if (this.benches.length > 1) route.show({ bench: id });
    const scheme = location.protocol === 'https:' ? 'wss' : 'ws';
    const address = `${scheme}://${location.host}${location.pathname.replace(/[^/]*$/, '')}api/v1/live`;
    this.live = new LiveLine(address, {
      opened: () => (this.line = 'open'),
      closed: (code) => {
        this.line = 'lost';
        // The session is over, or the server began anew and knows nobody: find out which.
        if (code === 1008 || code === 1006) void this.checkSession();
      },
      said: (message) => this.said(message),
      sampled: (envelope) => this.sampled(envelope),
    });
    this.live.begin();
    this.subscribe(this.window_s);
    this.keeping = setInterval(() => void this.keepLease(), 1000);
  }

  private leaveBench(): void {
    this.live?.end();
    if (this.keeping !== null) clearInterval(this.keeping);
    this.bench = null;
    this.state = null;
    this.chain = null;
    this.readings = [];
    this.strips = null;
    this.events = [];
    this.stopped = null;
    this.line = 'connecting';
    this.heard_ms = 0;
  }

  private async checkSession(): Promise<void> {
    const before = this.session;
    try {
      let now = await call('session');
      if (now.person === null && before !== null) now = (await this.logInAgain(before, now)) ?? now;
      this.session = now;
      if (now.person === null) this.leaveBench();
      else if (before?.server.started !== now.server.started) await this.meetAnew();
    } catch {
      // not there yet: the line goes on trying
    }
  }

  /** What this page saw stays; what a new server knows of bench and runs is asked for. */
  private async meetAnew(): Promise<void> {
    if (this.bench === null) return;
    const at = { bench: this.bench.id };
    this.bench = await call('bench', { at });
    this.hear(await call('state', { at }));
    ++this.lives;
  }

  subscribe(window_s: number): void {
    this.window_s = window_s;
    if (this.bench === null) return;
    const channels = this.bench.channels.map((channel) => channel.name).slice(0, 64);
    this.live?.subscribe({ type: 'subscribe', bench: this.bench.id, channels, window_s, bins: 600 });
  }

  private hear(state: State): void {
    this.state = state;
    this.heard_ms = performance.now();
    this.now_ms = this.heard_ms;
  }

  private said(message: LiveMessage): void {
    if (message.type === 'refused') {
      this.refused = new Refusal(422, message.what, message.right, '', '');
      return;
    }
    if (message.bench !== this.bench?.id) return;
    if (message.type === 'state') this.hear(message.state);
    if (message.type === 'chain') this.chain = message.chain;
    if (message.type === 'readings') this.readings = message.readings.readings;
    if (message.type === 'subscribed') {
      this.stream = message.stream;
      this.strips = new StripWindow(message.channels, message.units, message.bins, message.bin_s, message.origin_s);
    }
    if (message.type === 'event') {
      const { time, event, text = '', person = '' } = message;
      const happened = { time, event, text, person };
      this.events = [happened, ...this.events].slice(0, keptEvents);
      if (event === 'stop') this.stopped = happened;
      if (event === 'command' || event === 'campaign' || event === 'reset') this.stopped = null;
    }
  }

  private sampled(envelope: Envelope): void {
    const strips = this.strips;
    if (strips === null || envelope.stream !== this.stream) return;
    strips.take(envelope);
    this.newest = new Map(strips.channels.map((name, k) => [name, envelope.newest[k] ?? NaN]));
    this.onSample?.();
  }

  private lastKept_ms = 0;
  private async keepLease(): Promise<void> {
    const state = this.state;
    if (state === null || !state.lease.mine) return;
    const every_s = (state.lease.keep_within_s ?? 10) / 5;
    if (performance.now() - this.lastKept_ms < 1000 * every_s) return;
    this.lastKept_ms = performance.now();
    await call('keep_lease', { at: { bench: state.bench }, body: {} }).catch(() => undefined);
  }

  /** Does an operation of this bench; what is refused is shown, in the server's words. */
  async ask<N extends keyof Operations>(name: N, asked: Call<N> = {}): Promise<Operations[N]['answer'] | null> {
    if (this.bench === null) return null;
    try {
      const answer = await call(name, { ...asked, at: { bench: this.bench.id, ...asked.at } });
      this.refused = null;
      return answer;
    } catch (refusal) {
      if (!(refusal instanceof Refusal)) throw refusal;
      this.refused = refusal;
      if (refusal.status === 401) void this.checkSession();
      return null;
    }
  }

  /** Like ask, and takes the state that is answered. */
  async change<N extends 'command' | 'reset' | 'answer_ask'>(name: N, asked: Call<N>): Promise<boolean> {
    const state = await this.ask(name, asked);
    if (state === null) return false;
    this.hear(state as State);
    return true;
  }

  async changeLease(name: 'take_lease' | 'release_lease' | 'offer_lease' | 'consent' | 'withdraw_consent', body: Operations['offer_lease']['body'] | Operations['consent']['body'] | Record<string, never>): Promise<void> {
    const lease = await this.ask(name, name === 'release_lease' || name === 'withdraw_consent' ? {} : { body: body as never });
    if (lease !== null && this.state !== null) this.state = { ...this.state, lease };
  }

  /** Needs no lease, and is sent again until the server has it. */
  async stop(): Promise<void> {
    if (this.bench === null || this.stopping) return;
    this.stopping = true;
    const at = { bench: this.bench.id };
    for (let tries = 0; tries < 40; ++tries) {
      try {
        this.hear(await call('stop', { at, body: { category: 0 }, keepalive: true }));
        this.refused = null;
        break;
      } catch (refusal) {
        if (refusal instanceof Refusal) this.refused = refusal;
        await new Promise((done) => setTimeout(done, 250));
      }
    }
    this.stopping = false;
  }
}

export const desk = new Console();
