// SPDX-License-Identifier: Apache-2.0
// What the server would not do, in the reader's language where it says it by a code, with what it names; else as it says it.
import { desk } from '../state/console.svelte';
import { Refusal } from '../wire/client';
import { longestIn, namedIn, taskIn, whyIn } from './named';
import { names } from './names';
import { words } from './words.svelte';

function namedBy(refusal: Refusal): string {
  const task = taskIn(refusal);
  if (task !== null) return words.sayIfKnown(`activity.${task}`, task);
  const longest = longestIn(refusal);
  if (longest !== null) return words.stretch(longest);
  const known = [...(desk.bench?.channels ?? []), ...(desk.bench?.actuators ?? [])].map((each) => each.name);
  const named = namedIn(refusal, known).map((name) => names.interlock(name));
  if (named.length > 0) return named.join(', ');
  const why = whyIn(refusal);
  return why === null ? '' : words.ofServer(`why.${why}`, why);
}

export function refusalInWords(refusal: unknown): string {
  if (!(refusal instanceof Refusal)) return String(refusal);
  if (refusal.status === 0) return words.say('refused.unreachable');
  const named = namedBy(refusal);
  return words.ofServer(`refused.${refusal.code}`, refusal.message, { what: refusal.what, holder: refusal.holder, named: named === '' ? '' : ` (${named})` });
}
