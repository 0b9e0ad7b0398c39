// SPDX-License-Identifier: Apache-2.0
// What the server would not do, in the reader's language where it says it by a code; else as it says it.
import { Refusal } from '../wire/client';
import { words } from './words.svelte';

export function refusalInWords(refusal: unknown): string {
  if (!(refusal instanceof Refusal)) return String(refusal);
  if (refusal.status === 0) return words.say('refused.unreachable');
  return words.ofServer(`refused.${refusal.code}`, refusal.message, { what: refusal.what, holder: refusal.holder });
}
