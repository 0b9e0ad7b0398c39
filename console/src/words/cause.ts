// SPDX-License-Identifier: Apache-2.0
// What the server says of why a campaign ended, line by line: a trip with what to look at next, what followed it, and
// why there is no report. Pure.

/** The lines besides the one of a trip, which is told from what it knows of itself. */
export function beyondTrip(cause: string, trip: { readonly cause: string } | null): readonly string[] {
  const isTrips = trip !== null && trip.cause !== '' && cause.startsWith(trip.cause);
  const rest = isTrips ? cause.slice(trip.cause.length).split('\n').slice(1) : cause.split('\n');
  return rest.filter((line) => line.trim() !== '');
}

export interface Follower {
  readonly name: string; // of an interlock
  readonly times: number;
}

/** The interlocks of "followed by dc_bus, overspeed (2 times)"; nothing where a line says something else. */
export function followersIn(line: string): readonly Follower[] | null {
  const [said, list] = /^followed by (.+)$/.exec(line) ?? [];
  if (said === undefined || list === undefined) return null;
  return list.split(', ').map((each) => {
    const [, name = each, times = '1'] = /^(.+) \((\d+) times\)$/.exec(each) ?? [];
    return { name, times: Number(times) };
  });
}
