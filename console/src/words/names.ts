// SPDX-License-Identifier: Apache-2.0
// What the things of a bench are called: in the reader's language where there is a word for it, else
// as the bench's description says it, which may bring words of other languages along.
import { desk } from '../state/console.svelte';
import type { Actuator } from '../wire/api';
import { words } from './words.svelte';

class Names {
  /** A text that a person wrote in the bench's description. */
  own(text: string): string {
    return desk.bench?.texts[words.language]?.[text] ?? text;
  }

  channel(name: string): string {
    const there = desk.bench?.channels.find((each) => each.name === name);
    return words.sayIfKnown(`channel.${name}`, there === undefined ? name : this.own(there.long_name));
  }

  actuator(name: string): string {
    const there = desk.bench?.actuators.find((each) => each.name === name);
    return words.sayIfKnown(`actuator.${name}`, there === undefined ? name : this.own(there.long_name));
  }

  stage(name: string): string {
    return words.sayIfKnown(`stage.${name}`, desk.bench?.stages.find((each) => each.name === name)?.long_name ?? name);
  }

  /** Of the bench, or one of the server's own causes of a trip. */
  interlock(name: string): string {
    const own = this.own(name);
    return own === name ? words.ofServer(`interlock.${name}`, name) : own;
  }

  /** What a selector is set to, or a number with its unit. */
  setting(actuator: Actuator | undefined, value: number): string {
    const position = actuator?.positions[value];
    if (position === undefined) return words.setting(value, actuator?.unit ?? '1');
    const own = this.own(position);
    return own === position ? words.sayIfKnown(`position.${position}`, position.replaceAll('_', ' ')) : own;
  }
}

export const names = new Names();
