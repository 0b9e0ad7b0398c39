// SPDX-License-Identifier: Apache-2.0
// The strongest lines of a spectrum. Pure.

const apart = 4; // lines: a Hann taper spreads a sine over its neighbours

/** Indices of the largest local maxima, line 0 (what is constant) left out, none beside a larger
    one; largest first. */
export function strongest(amplitude: readonly number[], most: number): number[] {
  const found: number[] = [];
  for (let k = 1; k < amplitude.length; ++k) {
    const here = amplitude[k] ?? 0;
    const before = Math.max(0, ...amplitude.slice(Math.max(1, k - apart), k));
    const after = Math.max(0, ...amplitude.slice(k + 1, k + 1 + apart));
    if (here >= before && here > after) found.push(k);
  }
  return found.sort((a, b) => (amplitude[b] ?? 0) - (amplitude[a] ?? 0)).slice(0, most);
}
