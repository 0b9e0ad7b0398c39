// SPDX-License-Identifier: Apache-2.0
// The live stream: connects again by itself, and asks again for what was asked for.
import type { LiveMessage, LiveRequest, SubscribeRequest } from './api';
import { envelopeFrom, type Envelope } from './envelope';

export interface LiveListener {
  opened(): void;
  closed(code: number): void;
  said(message: LiveMessage): void;
  sampled(envelope: Envelope): void;
}

const shortestWait_ms = 250;
const longestWait_ms = 4000;

export class LiveLine {
  private socket: WebSocket | null = null;
  private asked: SubscribeRequest | null = null;
  private wait_ms = shortestWait_ms;
  private timer: ReturnType<typeof setTimeout> | null = null;
  private ended = true;

  constructor(
    private readonly address: string,
    private readonly listener: LiveListener,
  ) {}

  begin(): void {
    this.ended = false;
    this.connect();
  }

  end(): void {
    this.ended = true;
    if (this.timer !== null) clearTimeout(this.timer);
    this.socket?.close();
    this.socket = null;
  }

  /** Replaces what was asked for before. */
  subscribe(request: SubscribeRequest): void {
    const before = this.asked;
    this.asked = request;
    if (before !== null && before.bench !== request.bench) this.send({ type: 'unsubscribe', bench: before.bench });
    this.send(request);
  }

  private send(request: LiveRequest): void {
    if (this.socket?.readyState === WebSocket.OPEN) this.socket.send(JSON.stringify(request));
  }

  private connect(): void {
    const socket = new WebSocket(this.address);
    socket.binaryType = 'arraybuffer';
    this.socket = socket;
    socket.onopen = () => {
      this.wait_ms = shortestWait_ms;
      this.listener.opened();
      if (this.asked !== null) this.send(this.asked);
    };
    socket.onmessage = (message: MessageEvent<string | ArrayBuffer>) => {
      if (typeof message.data === 'string') {
        this.listener.said(JSON.parse(message.data) as LiveMessage);
      } else {
        const envelope = envelopeFrom(message.data);
        if (envelope !== null) this.listener.sampled(envelope);
      }
    };
    socket.onclose = (event) => {
      if (this.socket !== socket || this.ended) return;
      this.socket = null;
      this.listener.closed(event.code);
      this.timer = setTimeout(() => this.connect(), this.wait_ms);
      this.wait_ms = Math.min(2 * this.wait_ms, longestWait_ms);
    };
  }
}
