// SPDX-License-Identifier: Apache-2.0
// All levels in a sentence or two: what is not steady, and what comes nearest to a limit.
import type { Channel, Reading } from '../../wire/api';
import { names } from '../../words/names';
import { words } from '../../words/words.svelte';

const mostNamed = 4;

export function levelsInWords(readings: readonly Reading[], channels: readonly Channel[]): string {
  if (readings.length === 0) return words.say('strips.nothing');
  const going = readings.filter((each) => each.course !== null && each.course !== 'unknown');
  const moves = going.filter((each) => each.course !== 'steady');
  const named = moves.slice(0, mostNamed).map((each) => names.channel(each.name));
  const course =
    going.length === 0 ? ''
    : moves.length === 0 ? words.say('levels.all_steady')
    : moves.length <= mostNamed ? words.say('levels.not_steady', { names: named.join(', ') })
    : words.say('levels.many_not_steady', { count: moves.length, all: going.length });
  // By the part of the way from rest that is left, so that volts and rad/s can be told apart.
  const part = (each: Reading) => (each.bound === null ? Infinity : each.bound.room / Math.max(Math.abs(each.bound.value), 1e-9));
  const near = [...readings].sort((a, b) => part(a) - part(b))[0];
  if (near === undefined || near.bound === null) return course;
  const unit = channels.find((each) => each.name === near.name)?.unit ?? '1';
  const fill = { name: names.channel(near.name), room: words.reading(Math.abs(near.bound.room), unit), limit: words.setting(near.bound.value, unit), interlock: names.own(near.bound.interlock) };
  return `${course} ${words.say(near.bound.room < 0 ? 'levels.beyond_named' : 'levels.nearest', fill)}`.trim();
}
