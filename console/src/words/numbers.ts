// SPDX-License-Identifier: Apache-2.0
// Numbers and units for reading, by the rules of the SI brochure (9th edition, 5.4): a space between
// number and unit, digits in groups of three with a thin space, decimal point or comma by language.

const thin = '\u2009';
const minus = '\u2212';
const none = '\u2013';

export interface NumberStyle {
  readonly decimal: '.' | ',';
}

export function styleOf(language: string): NumberStyle {
  const part = new Intl.NumberFormat(language).formatToParts(1.5).find((each) => each.type === 'decimal');
  return { decimal: part?.value === ',' ? ',' : '.' };
}

function grouped(whole: string): string {
  return whole.length < 5 ? whole : whole.replace(/\B(?=(\d{3})+$)/g, thin);
}

function powerOfTen(value: number, style: NumberStyle): string {
  const [front = '', power = ''] = value.toExponential(2).replace('-', minus).replace('.', style.decimal).split('e');
  return `${front} × 10${[...power.replace('+', '')].map((digit) => raised[digit] ?? digit).join('')}`;
}

/** A number with that many decimals; beyond 1e9 in powers of ten; a dash where there is none. */
export function decimals(value: number | null | undefined, places: number, style: NumberStyle): string {
  if (value === null || value === undefined || !Number.isFinite(value)) return none;
  if (Math.abs(value) >= 1e9) return powerOfTen(value, style);
  const text = Math.abs(value).toFixed(places);
  const [whole = '0', part] = text.split('.');
  const sign = value < 0 && Number(text) !== 0 ? minus : '';
  return `${sign}${grouped(whole)}${part === undefined ? '' : style.decimal + part}`;
}

/** How many decimals show so many significant digits of a number of this size. */
export function placesFor(size: number, significant: number): number {
  if (!Number.isFinite(size) || size === 0) return significant - 1;
  return Math.min(9, Math.max(0, significant - 1 - Math.floor(Math.log10(Math.abs(size)))));
}

/** A live reading: three or four digits, more would only flicker. */
export function reading(value: number | null | undefined, style: NumberStyle): string {
  if (value === null || value === undefined || !Number.isFinite(value)) return none;
  const size = Math.abs(value);
  if (size === 0) return '0';
  return decimals(value, size >= 100 ? 0 : size >= 10 ? 1 : size >= 1 ? 2 : 3, style);
}

/** A power: watts, and tenths below a hundred. */
export function watts(value: number | null | undefined, style: NumberStyle): string {
  return decimals(value, typeof value === 'number' && Math.abs(value) >= 100 ? 0 : 1, style);
}

/** What was set: as short as it was said, at most four digits. */
export function setting(value: number | null | undefined, style: NumberStyle): string {
  if (value === null || value === undefined || !Number.isFinite(value)) return none;
  const places = String(Number(value.toPrecision(4))).split('.')[1]?.length ?? 0;
  return decimals(value, places, style);
}

/** Value ± uncertainty, the uncertainty with two significant digits and both with as many decimals. */
export function plusMinus(value: number | null, u: number | null, style: NumberStyle): string {
  if (value === null || u === null || !(u > 0)) return reading(value, style);
  const places = placesFor(u, 2);
  return `${decimals(value, places, style)} ± ${decimals(u, places, style)}`;
}

const raisedDigits = (power: number): string => [...String(power)].map((digit) => raised[digit] ?? digit).join('');

/** A power of ten; between a thousandth and a thousand in plain digits. */
export function tenTo(power: number, style: NumberStyle): string {
  return Math.abs(power) <= 3 ? decimals(10 ** power, Math.max(0, -power), style) : `10${raisedDigits(power)}`;
}

const known: Readonly<Record<string, string>> = {
  '1': '',
  degC: '°C',
  degree: '°',
  degrees: '°',
  percent: '%',
  '%': '%',
  ohm: 'Ω',
  'm s-1': 'm/s',
  'm s-2': 'm/s²',
  'rad s-1': 'rad/s',
  'kg m-3': 'kg/m³',
  'V A': 'VA',
};
const raised: Readonly<Record<string, string>> = {
  '-': '⁻', '0': '⁰', '1': '¹', '2': '²', '3': '³', '4': '⁴', '5': '⁵', '6': '⁶', '7': '⁷', '8': '⁸', '9': '⁹',
};

/** A UDUNITS string as people write it; empty for 1. */
export function unitText(unit: string): string {
  return (
    known[unit] ??
    unit
      .replace(/([A-Za-z])(-?\d+)/g, (_, symbol: string, power: string) => symbol + [...power].map((c) => raised[c] ?? c).join(''))
      .replace(/ /g, '·')
  );
}

/** Number and unit, with a no-break space; an angle's degree sign stands close. */
export function withUnit(number: string, unit: string): string {
  const text = unitText(unit);
  if (text === '') return number;
  return text === '°' ? number + text : `${number}\u00a0${text}`;
}

/** A stretch of time in words' place: 4 s, 3 min 20 s, 1 h 05 min. */
export function stretch(seconds: number, style: NumberStyle): string {
  if (seconds < 10) return `${decimals(seconds, 1, style)}\u00a0s`;
  if (seconds < 60) return `${decimals(Math.round(seconds), 0, style)}\u00a0s`;
  const whole = Math.round(seconds);
  const [h, min, s] = [Math.floor(whole / 3600), Math.floor((whole % 3600) / 60), whole % 60];
  const then = (more: number, unit: string) => (more === 0 ? '' : ` ${String(more).padStart(2, '0')}\u00a0${unit}`);
  return h === 0 ? `${min}\u00a0min${then(s, 's')}` : `${h}\u00a0h${then(min, 'min')}`;
}
