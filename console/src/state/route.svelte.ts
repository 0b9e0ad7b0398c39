// SPDX-License-Identifier: Apache-2.0
// Which room is open and what is seen there: all of it in the address, so that a link shows exactly this.
export const rooms = ['ready', 'plan', 'measure', 'results', 'logbook'] as const;
export type Room = (typeof rooms)[number];

function parse(hash: string): { room: Room; seen: URLSearchParams } {
  const [path = '', query = ''] = hash.replace(/^#\/?/, '').split('?');
  const room = rooms.find((each) => each === path) ?? 'measure';
  return { room, seen: new URLSearchParams(query) };
}

class Route {
  room = $state<Room>('measure');
  private query = $state('');

  constructor() {
    this.read();
    addEventListener('hashchange', () => this.read());
  }

  private read(): void {
    const { room, seen } = parse(location.hash);
    this.room = room;
    this.query = seen.toString();
  }

  get(name: string): string | null {
    return new URLSearchParams(this.query).get(name);
  }

  getAll(name: string): string[] {
    return new URLSearchParams(this.query).getAll(name);
  }

  /** The address of this view with some of it changed; null takes a part away. */
  link(changes: Readonly<Record<string, string | readonly string[] | null>>, room: Room = this.room): string {
    const query = new URLSearchParams(room === this.room ? this.query : '');
    const bench = this.get('bench');
    if (bench !== null) query.set('bench', bench);
    for (const [name, value] of Object.entries(changes)) {
      query.delete(name);
      for (const each of value === null ? [] : typeof value === 'string' ? [value] : value) query.append(name, each);
    }
    const text = query.toString();
    return `#/${room}${text === '' ? '' : `?${text}`}`;
  }

  show(changes: Readonly<Record<string, string | readonly string[] | null>>, room: Room = this.room): void {
    history.replaceState(null, '', this.link(changes, room));
    this.read();
  }
}

export const route = new Route();
