// SPDX-License-Identifier: Apache-2.0
// Why a bench tripped, in the reader's language: what was seen, and what the bench's description
// says of it.
import { desk } from '../state/console.svelte';
import type { FirstCause, Progress } from '../wire/api';
import { beyondTrip, followersIn } from './cause';
import { names } from './names';
import { words } from './words.svelte';

export function causeOf(trip: FirstCause): string {
  const interlock = desk.bench?.interlocks.find((each) => each.name === trip.interlock);
  if (trip.code === '' || interlock === undefined) {
    // Causes of the server's own are known by their name; the rest stays as it was said.
    return words.language !== 'en' && trip.interlock === 'operator' ? words.say('trip.seen.operator') : trip.cause;
  }
  const unit = desk.bench?.channels.find((each) => each.name === interlock.channel)?.unit ?? '1';
  const bound = trip.code === 'below' ? interlock.lowest : interlock.highest;
  const seen = words.say(`trip.seen.${trip.code}`, {
    channel: names.channel(interlock.channel ?? ''),
    value: words.reading(trip.value, trip.code === 'clock' ? 's' : trip.code === 'disk' ? 'MB' : unit),
    bound: words.setting(bound, unit),
    with: interlock.with ? words.say('trip.with', { other: names.channel(interlock.with), factor: words.setting(interlock.factor) }) : '',
  });
  return `${seen} ${sentence(names.own(interlock.cause))}`;
}

/** Why a campaign ended, and what more there is to that; a trip that stands is told by its banner. */
export function endingOf({ trip, cause }: Pick<Progress, 'trip' | 'cause'>): readonly string[] {
  const more = beyondTrip(cause ?? '', trip ?? null).map((line) => {
    const followers = followersIn(line);
    if (followers === null) return line;
    const list = followers.map(({ name, times }) => names.interlock(name) + (times > 1 ? ` ${words.say('trip.times', { times })}` : ''));
    return words.say('trip.followed', { names: list.join(', ') });
  });
  return trip && desk.tripped === null ? [causeOf(trip), ...more] : more;
}

function sentence(text: string): string {
  const first = text.slice(0, 1).toUpperCase() + text.slice(1);
  return /[.!?]$/.test(first) ? first : `${first}.`;
}

export function checkOf(trip: FirstCause): string {
  const own = names.own(trip.check);
  return own === trip.check ? words.ofServer(`check.${trip.check}`, trip.check) : own;
}
