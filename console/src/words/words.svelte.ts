// SPDX-License-Identifier: Apache-2.0
// Texts in the reader's language. What the server says itself (cautions, steps) comes in English with
// an id, under which other languages have it; what a person wrote in a bench's description stays
// theirs (names.ts).
import english from './en.json';
import serverInSpanish from './server.es.json';
import spanish from './es.json';
import { keep, kept } from '../state/look.svelte';
import { decimals, plusMinus, reading, setting, stretch, styleOf, watts, withUnit, type NumberStyle } from './numbers';

export type Word = keyof typeof english;
export type Language = 'en' | 'es';
export const languages: readonly (readonly [Language, string])[] = [
  ['en', 'English'],
  ['es', 'Español'],
];

const texts: Readonly<Record<Language, Readonly<Record<Word, string>>>> = { en: english, es: spanish };

const ofServer: Readonly<Partial<Record<Language, Readonly<Record<string, string>>>>> = { es: serverInSpanish };

function wanted(): Language {
  const chosen = kept('language') ?? navigator.language;
  return chosen.startsWith('es') ? 'es' : 'en';
}

const filled = (text: string, fill: Readonly<Record<string, string | number>>) => text.replace(/\{(\w+)\}/g, (_, name: string) => String(fill[name] ?? ''));

class Words {
  language = $state<Language>(wanted());
  style: NumberStyle = $derived(styleOf(this.language));

  choose(language: Language): void {
    this.language = language;
    keep('language', language);
  }

  say(word: Word, fill: Readonly<Record<string, string | number>> = {}): string {
    return filled(texts[this.language][word], fill);
  }

  /** What the server says in English, by its id in the reader's language. */
  ofServer(id: string, english: string, fill: Readonly<Record<string, string | number>> = {}): string {
    return filled(ofServer[this.language]?.[id] ?? english, fill);
  }

  /** Where there is a word for it; else what is given. */
  sayIfKnown(word: string, otherwise: string): string {
    return word in english ? this.say(word as Word) : otherwise;
  }

  reading(value: number | null | undefined, unit = '1'): string {
    return withUnit(reading(value, this.style), value === null || value === undefined ? '1' : unit);
  }

  watts(value: number | null | undefined): string {
    return withUnit(watts(value, this.style), value === null || value === undefined ? '1' : 'W');
  }

  setting(value: number | null | undefined, unit = '1'): string {
    return withUnit(setting(value, this.style), value === null || value === undefined ? '1' : unit);
  }

  decimals(value: number | null | undefined, places: number, unit = '1'): string {
    return withUnit(decimals(value, places, this.style), unit);
  }

  plusMinus(value: number | null, u: number | null, unit = '1'): string {
    const text = plusMinus(value, u, this.style);
    return unit === '1' || !text.includes('±') ? withUnit(text, unit) : withUnit(`(${text})`, unit);
  }

  stretch(seconds: number): string {
    return stretch(seconds, this.style);
  }

  /** Clock time of a UTC text, in this place's time. */
  clock(utc: string): string {
    return new Date(utc).toLocaleTimeString(this.language, { hour: '2-digit', minute: '2-digit', second: '2-digit', hourCycle: 'h23' });
  }

  date(utc: string): string {
    return new Date(utc).toLocaleDateString(this.language, { year: 'numeric', month: 'short', day: 'numeric' });
  }
}

export const words = new Words();
