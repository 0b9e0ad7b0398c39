// SPDX-License-Identifier: Apache-2.0
// How the console looks here: kept in this browser only.
export type Look = 'system' | 'light' | 'dark';

function kept(key: string): string | null {
  try {
    return localStorage.getItem(`windwright.${key}`);
  } catch {
    return null; // storage is forbidden: then it lasts as long as the page
  }
}

function keep(key: string, value: string): void {
  try {
    localStorage.setItem(`windwright.${key}`, value);
  } catch {
    // as above
  }
}

const prefersDark = matchMedia('(prefers-color-scheme: dark)');
const prefersStill = matchMedia('(prefers-reduced-motion: reduce)');

class LookState {
  look = $state<Look>((kept('look') as Look | null) ?? 'system');
  projector = $state(kept('projector') === 'yes');
  still = $state(prefersStill.matches);
  private systemDark = $state(prefersDark.matches);
  dark = $derived(this.look === 'dark' || (this.look === 'system' && this.systemDark));

  constructor() {
    prefersDark.onchange = (event) => (this.systemDark = event.matches);
    prefersStill.onchange = (event) => (this.still = event.matches);
  }

  choose(look: Look): void {
    this.look = look;
    keep('look', look);
  }

  toggleProjector(): void {
    this.projector = !this.projector;
    keep('projector', this.projector ? 'yes' : 'no');
  }

  /** Writes the choice where the style sheet looks. */
  show(root: HTMLElement): void {
    root.dataset['look'] = this.dark ? 'dark' : 'light';
    root.dataset['size'] = this.projector ? 'projector' : 'desk';
  }
}

export const looks = new LookState();
export { kept, keep };
