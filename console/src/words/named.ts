// SPDX-License-Identifier: Apache-2.0
// What a refusal of the server names, found in its English sentence: interlocks, channels, what the bench does. Pure.

export interface Said {
  readonly code: string;
  readonly what: string;
  readonly where: string;
}

/** The interlocks, channels and actuators that it names, each once and in their order. */
export function namedIn({ what, where }: Said, known: readonly string[]): readonly string[] {
  const text = `${where}: ${what}`;
  const [, standing = ''] = /(?:while it stands|the cause is not gone): (.+)$/.exec(text) ?? [];
  const lists = standing === '' ? [] : standing.split(', ');
  const quoted = [...text.matchAll(/(?<!\w)'([^']+)'/g)].map((each) => each[1] ?? '');
  const bare = [...text.matchAll(/\w+/g)].map((each) => each[0]).filter((each) => known.includes(each));
  return [...new Set([...lists, ...quoted, ...bare])];
}

/** What keeps the bench busy. */
export function taskIn({ code, what }: Said): string | null {
  return code === 'busy' ? (/^the bench is (.+)$/.exec(what)?.[1] ?? null) : null;
}

/** How long a consent may be, s. */
export function longestIn({ code, what }: Said): number | null {
  const [, seconds] = code === 'bad_time' ? (/up to ([\d.e+]+) s/.exec(what) ?? []) : [];
  return seconds === undefined ? null : Number(seconds);
}

/** Why something is not done, behind what is not done; nothing where the sentence says only that. */
export function whyIn({ code, what }: Said): string | null {
  return code === 'not_reset' || code === 'not_driven' ? (/^.*?: (.+)$/s.exec(what)?.[1] ?? null) : null;
}
