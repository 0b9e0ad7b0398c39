// SPDX-License-Identifier: Apache-2.0
// Requests of the API, by the names and types of its description.
import type { Error as Answered, Operations } from './api';
import { ways } from './api';

/** What the server would not do: in its own words. */
export class Refusal extends Error {
  constructor(
    readonly status: number,
    readonly what: string,
    readonly right: string,
    readonly where: string,
    readonly holder: string,
    readonly code = '', // of what people meet on a page
  ) {
    super([where, what, right].filter((part) => part !== '').join(': '));
  }
}

/** No answer came at all: status 0 of a refusal. */
export function unreachable(refusal: unknown): boolean {
  return refusal instanceof Refusal && refusal.status === 0;
}

type Asked = Readonly<Record<string, string | number | undefined>>;
type Named<N extends keyof Operations> = Operations[N];

export interface Call<N extends keyof Operations> {
  readonly at?: Readonly<Record<string, string>>; // what stands in braces in the path
  readonly query?: Named<N>['query'] | undefined;
  readonly body?: Named<N>['body'];
  readonly signal?: AbortSignal;
  readonly keepalive?: boolean;
}

const root = 'api/v1';

/** The address of an operation, for a link. */
export function address<N extends keyof Operations>(name: N, call: Call<N> = {}): string {
  const path = ways[name][1].replace(/\{(\w+)\}/g, (_, key: string) => encodeURIComponent(call.at?.[key] ?? ''));
  const query = new URLSearchParams();
  for (const [key, value] of Object.entries((call.query ?? {}) as Asked)) {
    if (value !== undefined) query.set(key, String(value));
  }
  const text = query.toString();
  return `${root}${path}${text === '' ? '' : `?${text}`}`;
}

function refusal(status: number, text: string): Refusal {
  try {
    const { error } = JSON.parse(text) as Answered;
    return new Refusal(status, error.what, error.right, error.where ?? '', error.holder ?? '', error.code ?? '');
  } catch {
    return new Refusal(status, `HTTP ${status}`, '', '', '');
  }
}

/** @throws Refusal  with status 0 where no answer came */
export async function call<N extends keyof Operations>(name: N, asked: Call<N> = {}): Promise<Named<N>['answer']> {
  const request: RequestInit = { method: ways[name][0], credentials: 'same-origin' };
  if (asked.signal) request.signal = asked.signal;
  if (asked.keepalive) request.keepalive = true;
  if (asked.body !== undefined && asked.body !== null) {
    request.body = JSON.stringify(asked.body);
    request.headers = { 'Content-Type': 'application/json' };
  }
  let answer: Response;
  try {
    answer = await fetch(address(name, asked), request);
  } catch (fault) {
    if (asked.signal?.aborted) throw fault;
    throw new Refusal(0, '', '', '', '');
  }
  const text = await answer.text();
  if (!answer.ok) throw refusal(answer.status, text);
  return (text === '' ? null : JSON.parse(text)) as Named<N>['answer'];
}
