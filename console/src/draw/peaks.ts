// SPDX-License-Identifier: Apache-2.0
// The strongest lines of a spectrum. Pure.

/** Indices of the largest local maxima, line 0 (what is constant) left out; largest first. A Hann
    taper spreads a sine over its neighbours, which are not told beside it. */
export function strongest(amplitude: readonly number[], most: number): number[] {
  const found: number[] = [];
  for (let k = 2; k < amplitude.length - 1; ++k) {
    const here = amplitude[k] ?? 0;
    if (here > 0 && here >= (amplitude[k - 1] ?? 0) && here > (amplitude[k + 1] ?? 0)) found.push(k);
  }
  return found.sort((a, b) => (amplitude[b] ?? 0) - (amplitude[a] ?? 0)).slice(0, most);
}
