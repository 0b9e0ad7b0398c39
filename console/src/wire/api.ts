// SPDX-License-Identifier: Apache-2.0
// Written by scripts/wire_types.mjs from docs/openapi.json: change that one, then `npm run wire`.

/** Every refusal. */
export type Error = {
  readonly error: {
    /** What is wrong, in one line. */
    readonly what: string;
    /** What would be right; empty where nothing can be said. */
    readonly right: string;
    /** Where people meet it on a page: by this it is said in their language. */
    readonly code?: string;
    /** `file:line`, a member of the body or a parameter. */
    readonly where?: string;
    /** Of a lease that somebody else holds: who. */
    readonly holder?: string;
  };
};

export type Quantity = {
  readonly value: number | null;
  /** Standard uncertainty. */
  readonly u: number | null;
  /** Degrees of freedom; null where infinite. */
  readonly dof: number | null;
  /** UDUNITS */
  readonly unit: string;
};

/** Each may do what those before it may. */
export type Role = 'observer' | 'learner' | 'operator' | 'instructor';

export type Person = {
  readonly name: string;
  readonly role: Role;
};

export type Session = {
  readonly person: Person | null;
  /** UTC, as 2026-03-02T09:00:00.000Z */
  readonly expires?: string;
  /** Only in the answer to a log-in; as `Authorization: Bearer TOKEN`. Browsers use the cookie instead. */
  readonly token?: string;
  /** False: this server is on loopback and has no accounts; whoever gives a name has a session. */
  readonly accounts: boolean;
  readonly server: {
    readonly version: string;
    /** UTC, as 2026-03-02T09:00:00.000Z */
    readonly started: string;
  };
};

export type Channel = {
  /** air_speed_m_s */
  readonly name: string;
  readonly long_name: string;
  /** UDUNITS; V at the converter where it is not calibrated. */
  readonly unit: string;
  readonly calibrated: boolean;
  /** True: not a sensor, the product of a voltage and a current, sample by sample. */
  readonly power: boolean;
  /** What converter and certificate can show. */
  readonly lowest?: number;
  readonly highest?: number;
  /** Stage of the energy chain; empty where that is not known. */
  readonly measured_at?: string;
  /** A waveform about 0, whose mean says nothing. */
  readonly alternating?: boolean;
  /** UTC, as 2026-03-02T09:00:00.000Z */
  readonly valid_until?: string;
  readonly check_standard?: {
    readonly value: number;
    readonly u: number;
  };
};

export type Actuator = {
  /** fan_pct */
  readonly name: string;
  readonly long_name: string;
  readonly unit: string;
  readonly lowest: number;
  readonly highest: number;
  /** Changed by a person at the bench, with the fan off. */
  readonly manual: boolean;
  /** Of a selector; the value is the index. Else empty. */
  readonly positions: ReadonlyArray<string>;
  /** From lowest to highest, no faster; 0: at once. */
  readonly full_travel_s?: number;
  /** Off in the safe state: from there it is switched on with proved interlocks only, or with a reason. */
  readonly drives: boolean;
  /** Stage of the energy chain; empty where that is not known. */
  readonly acts_at: string;
};

export type Interlock = {
  readonly name: string;
  readonly kind: 'bound' | 'lost' | 'stuck' | 'clock' | 'disk';
  readonly channel?: string;
  /** Judged is channel - factor * this one. */
  readonly with?: string;
  readonly factor?: number;
  /** Trips below. */
  readonly lowest?: number | null;
  /** Trips above. */
  readonly highest?: number | null;
  readonly hysteresis?: number;
  readonly hold_s?: number;
  /** IEC 60204-1: 0 power off at once, 1 controlled and off, 2 controlled, power stays on. */
  readonly stop_category: number;
  readonly cause: string;
  /** What to look at next. */
  readonly check?: string;
  /** Its condition holds now. */
  readonly standing: boolean;
};

export type Stage = {
  /** wind, rotor, shaft, generator, rectifier, dc_load; with a battery also charge_controller, dc_bus, battery, dump_load, dc_loads, inverter, ac_loads */
  readonly name: string;
  readonly long_name: string;
};

export type Bench = {
  /** In paths: lower-case letters, digits, hyphens. */
  readonly id: string;
  readonly name: string;
  readonly device: string;
  readonly simulated: boolean;
  readonly sample_rate_hz: number;
  /** What interlocks judge means over. */
  readonly block_s?: number;
  readonly channels: ReadonlyArray<Channel>;
  readonly actuators: ReadonlyArray<Actuator>;
  readonly interlocks: ReadonlyArray<Interlock>;
  /** Of the energy chain, from wind to load. */
  readonly stages: ReadonlyArray<Stage>;
  readonly rotor: {
    readonly blade_count: number;
    readonly pitch_deg: number;
    readonly tip_radius_m: number;
    readonly hub_radius_m: number;
  };
  readonly cautions: ReadonlyArray<{
    readonly id: string;
    readonly text: string;
  }>;
  /** Names, causes and the like of the description in other languages: by language, then by the text. */
  readonly texts: { readonly [name: string]: { readonly [name: string]: string } };
};

export type Trip = FirstCause & {
  /** Names of the interlocks whose condition still holds: no reset before they are gone. */
  readonly standing: ReadonlyArray<string>;
};

export type FirstCause = {
  /** The first one out since the last reset. */
  readonly interlock: string;
  /** What an interlock of the bench saw, where it was one: a value beyond its bound, one that stands at an end of its converter, none, one that does not move, a time that jumps, a disk that fills. */
  readonly code: '' | 'above' | 'below' | 'upper_end' | 'lower_end' | 'lost' | 'stuck' | 'clock' | 'disk';
  /** That was judged, in the channel's unit, s or MB. */
  readonly value: number | null;
  /** The same in words, and what the bench's description says of it. */
  readonly cause: string;
  /** What to look at next. */
  readonly check: string;
  readonly stop_category: number;
  /** UTC, as 2026-03-02T09:00:00.000Z */
  readonly time: string;
};

/** The device waits for a person. */
export type Ask = {
  readonly number: number;
  /** What a person at the bench is to do, in words. */
  readonly what: string;
};

export type Lease = {
  readonly holder: {
    readonly name: string;
    readonly place: 'at_the_bench' | 'afar';
    readonly held_s: number;
    /** Without a sign of life. */
    readonly lapses_in_s: number;
  } | null;
  /** This session holds it. */
  readonly mine: boolean;
  /** Where this session is, as the server sees it: at the bench means from an address that the server was told stands there (its own computer, and --at-bench). */
  readonly place: 'at_the_bench' | 'afar';
  /** Keep it at least this often (five times as often is better), or it lapses; a bench that is driven then trips and stops under control. */
  readonly keep_within_s: number;
  /** Who may take it over by taking it. */
  readonly offered_to: string | null;
  readonly consent: {
    /** Who at the bench. */
    readonly by: string;
    /** Who may start from afar. */
    readonly to: string;
    readonly one_run: boolean;
    readonly expires_in_s: number;
  } | null;
};

export type Progress = {
  readonly state: 'none' | 'conducting' | 'paused' | 'reporting' | 'ended';
  /** File name. */
  readonly campaign?: string;
  readonly title?: string;
  /** Its id under /runs. */
  readonly run?: string;
  /** settling, dwelling, ... */
  readonly phase?: string;
  readonly points_done: number;
  readonly points: number;
  /** Of bench time. */
  readonly seconds_left?: number;
  readonly point?: PlannedPoint | null;
  readonly ending?: '' | 'complete' | 'interrupted' | 'tripped' | 'not_ready' | 'fault';
  /** Of an ending other than complete, in words. */
  readonly cause?: string;
  /** That ended it, where it was one. */
  readonly trip?: FirstCause | null;
  /** What to do next, in words. */
  readonly next: string;
};

export type State = {
  readonly bench: string;
  /** Of the stop logic. */
  readonly state: 'safe' | 'running' | 'stopping' | 'tripping_2' | 'tripping_1' | 'tripped';
  /** What the device is used for. */
  readonly activity: 'watching' | 'checking' | 'calibrating' | 'proving' | 'conducting' | 'lost';
  /** UTC, as 2026-03-02T09:00:00.000Z */
  readonly host_time: string;
  /** UTC, as 2026-03-02T09:00:00.000Z */
  readonly device_time?: string;
  /** Of the newest sample, by the server's clock; counts up while no sample comes. */
  readonly age_s: number;
  /** Older than a second, or three blocks: not to be trusted. */
  readonly stale: boolean;
  readonly tripped: Trip | null;
  /** Why there is no device, and what to check; it is tried again. */
  readonly fault: string | null;
  /** What each actuator was told last, as far as known. */
  readonly commanded: { readonly [name: string]: number };
  readonly lease: Lease;
  readonly campaign: Progress;
  readonly ask: Ask | null;
  readonly load: {
    /** Since the server began. */
    readonly gaps: number;
    readonly samples: number;
  };
};

export type Value = {
  readonly name: string;
  readonly unit: string;
  /** Mean over the newest block. */
  readonly value: number | null;
  /** Standard uncertainty by the certificate. */
  readonly u?: number | null;
  readonly lowest: number | null;
  readonly highest: number | null;
  /** Standard deviation of the samples. */
  readonly deviation: number | null;
};

/** From wind to load; power is positive that way. */
export type Chain = {
  readonly bench: string;
  /** UTC, as 2026-03-02T09:00:00.000Z */
  readonly time: string;
  /** Averaged over. */
  readonly seconds: number;
  readonly stages: ReadonlyArray<{
    readonly name: string;
    readonly lost_W: number | null;
    /** Positive while it fills. */
    readonly stored_W: number | null;
    /** measured, model, balance or unknown */
    readonly basis: string;
  }>;
  readonly flows: ReadonlyArray<{
    readonly from: string;
    readonly to: string;
    readonly measured_W: number | null;
    readonly predicted_W: number | null;
    /** measured, model, balance or unknown */
    readonly basis: string;
  }>;
  /** tip_speed_ratio, cp_shaft, cp_electrical, predicted_cp_shaft, predicted_cp_electrical, air_density_kg_m3, state_of_charge_pct where known. */
  readonly numbers?: { readonly [name: string]: number };
};

export type Values = {
  readonly bench: string;
  /** UTC, as 2026-03-02T09:00:00.000Z */
  readonly time: string;
  readonly age_s: number;
  readonly stale: boolean;
  readonly values: ReadonlyArray<Value>;
  readonly chain: Chain | null;
};

export type Step = {
  readonly id: string;
  /** In the imperative. */
  readonly what: string;
  readonly why: string;
  readonly done: boolean;
  readonly person?: string;
  /** UTC, as 2026-03-02T09:00:00.000Z */
  readonly time?: string;
};

export type ChannelCheck = {
  readonly channel: string;
  readonly unit: string;
  readonly certificate_found: boolean;
  /** UTC, as 2026-03-02T09:00:00.000Z */
  readonly valid_until?: string | null;
  readonly expired: boolean;
  readonly reference?: {
    /** Check standard. */
    readonly value: number;
    readonly u: number;
  } | null;
  readonly measured?: Quantity | null;
  /** E_n; agrees within 1. */
  readonly en?: number | null;
  readonly passed: boolean;
  /** What is wrong and what to do next; empty when passed. */
  readonly remark: string;
};

export type Checklist = {
  readonly steps: ReadonlyArray<Step>;
  readonly readiness: {
    /** UTC, as 2026-03-02T09:00:00.000Z */
    readonly time: string;
    readonly ready: boolean;
    readonly channels: ReadonlyArray<ChannelCheck>;
    readonly interlocks_proved: boolean;
    /** Why they do not count as proved now. */
    readonly interlocks_remark: string;
  } | null;
  /** Every step done, and the last check of this session found the bench ready. */
  readonly ready: boolean;
};

/** As `windwright calibrate` writes it: docs/files.md. */
export type Certificate = { readonly [name: string]: unknown };

export type CertificateNote = {
  readonly channel: string;
  readonly found: boolean;
  /** UTC, as 2026-03-02T09:00:00.000Z */
  readonly date?: string;
  /** UTC, as 2026-03-02T09:00:00.000Z */
  readonly valid_until?: string;
  /** Missing, or over. */
  readonly due: boolean;
  readonly model?: string;
  readonly standard?: string;
};

export type Calibration = {
  readonly channel: string;
  readonly state: 'none' | 'reading' | 'proposed' | 'signed' | 'refused' | 'ended';
  readonly unit: string;
  /** Known inputs of the plan. */
  readonly references: ReadonlyArray<number>;
  readonly repeats?: number;
  /** On the sensor now. */
  readonly known_input?: number | null;
  /** Mean of the newest block, while readings are taken. */
  readonly voltage_V?: number | null;
  /** The same by the certificate in force, where there is one. */
  readonly value?: number | null;
  readonly readings: ReadonlyArray<{
    readonly reference: number;
    readonly reading_V: number;
    readonly u_reading_V: number;
    readonly repeat: number;
    /** From the fit of the readings so far, once they make one. */
    readonly residual_V: number | null;
  }>;
  readonly certificate?: Certificate | null;
  /** Why it was refused. */
  readonly cause?: string;
};

export type LiveSpectrum = {
  readonly channel: string;
  readonly unit: string;
  /** Of samples without a gap, the newest: at most 8 s or 16 384 samples. */
  readonly seconds: number;
  /** Null while there are not enough samples. */
  readonly line_spacing_Hz: number | null;
  /** Averaged, Hann taper, overlapping by half. */
  readonly segments: number;
  /** Peak of a sine on the line, lines from 0 Hz on; what is constant is taken off. */
  readonly amplitude: ReadonlyArray<number>;
  /** What turns, from the slowest on; none at rest. */
  readonly turning: ReadonlyArray<{
    /** Once a turn; each blade once a turn; the alternating current; the ripple of the bridge, six times that; harmonics of the current. */
    readonly code: 'rotor' | 'blades' | 'generator' | 'bridge' | 'harmonic_5' | 'harmonic_7' | 'harmonic_11' | 'harmonic_13';
    readonly true_Hz: number;
    /** Where it is seen: folded back, where it lies beyond half the sampling rate. */
    readonly frequency_Hz: number;
    /** The largest beside it. */
    readonly amplitude: number;
  }>;
};

export type Proof = {
  /** Of the proof that is under way or was last since the server began. */
  readonly state: 'none' | 'proving' | 'ended' | 'refused' | 'done';
  /** What whoever is at the bench confirms before it begins. */
  readonly to_confirm: ReadonlyArray<{
    readonly id: string;
    readonly what: string;
  }>;
  /** Who is at the bench. */
  readonly person: string;
  /** That is being proved; empty: none. */
  readonly interlock: string;
  /** Interlocks of the bench. */
  readonly all: number;
  /** So far, in the bench's order. */
  readonly proved: ReadonlyArray<ProvedInterlock>;
  /** Why it ended early or was refused. */
  readonly cause: string;
  /** The certificate that is kept beside the bench. */
  readonly proof: {
    readonly person: string;
    readonly device: string;
    /** UTC, as 2026-03-02T09:00:00.000Z */
    readonly date: string;
    /** UTC, as 2026-03-02T09:00:00.000Z */
    readonly valid_until: string;
    readonly passed: boolean;
    readonly interlocks: ReadonlyArray<ProvedInterlock>;
    /** What was not tried, in words. */
    readonly not_proved: ReadonlyArray<string>;
  } | null;
  /** Why the interlocks do not count as proved; empty where they do. */
  readonly remark: string;
};

export type ProvedInterlock = {
  readonly name: string;
  /** From what proves most to what proves least. */
  readonly method: 'by_hand' | 'known_input' | 'moved_bound' | 'changed_data';
  readonly unit: string;
  readonly stop_category: number;
  readonly hold_s: number;
  readonly bounds: ReadonlyArray<{
    readonly bound: number | null;
    /** Known input that did not trip. */
    readonly inside: number | null;
    /** Known input that did. */
    readonly beyond: number | null;
    /** Judged value when it tripped. */
    readonly seen: number | null;
    /** From the first block beyond, to the trip. */
    readonly held_s: number;
  }>;
  readonly cause: string;
  readonly first_out: string;
  readonly passed: boolean;
  /** What is wrong, and what to look at. */
  readonly remark: string;
};

export type PlannedPoint = {
  readonly number: number;
  readonly block: number;
  readonly repeat: number;
  readonly settings: { readonly [name: string]: number };
  readonly foreseen: Foreseen | null;
};

/** What theory expects at a point before anyone runs it; null where it cannot say. */
export type Foreseen = {
  readonly air_speed_m_s?: number | null;
  readonly rotor_speed_rad_s?: number | null;
  readonly tip_speed_ratio?: number | null;
  readonly dc_power_W?: number | null;
  readonly cp?: number | null;
  /** Interlocks that it would trip. */
  readonly trips?: ReadonlyArray<string>;
  readonly below_cut_in?: boolean;
  /** What is wrong: no_balance: the rotor does not keep turning, or runs away; too_slow: to deliver anything. */
  readonly code: '' | 'trips' | 'no_wind' | 'no_balance' | 'too_slow';
  /** The same in words; empty where nothing is wrong. */
  readonly remark: string;
};

export type Change = {
  readonly now: Foreseen | null;
  readonly then: Foreseen | null;
};

export type Reading = {
  readonly name: string;
  /** Mean of the newest half second or so; of a waveform about 0 the root mean square. */
  readonly value: number | null;
  /** Null of a waveform about 0. Steady: no drift beyond 1 % of the mean or 0.2 % of what the channel can show, as campaigns judge it (docs/files.md, pace); rising, falling: most of the spread is one way; restless: neither; unknown: a gap, or too few samples yet. */
  readonly course: 'steady' | 'rising' | 'falling' | 'restless' | 'unknown' | null;
  /** Over `seconds`. */
  readonly drift: number | null;
  readonly seconds: number | null;
  /** Of the interlocks that judge this channel alone, the bound that it is nearest to. */
  readonly bound: {
    readonly interlock: string;
    readonly value: number;
    /** Trips above it, else below. */
    readonly above: boolean;
    /** To it; below 0: beyond. */
    readonly room: number;
  } | null;
};

export type Readings = {
  readonly bench: string;
  /** UTC, as 2026-03-02T09:00:00.000Z */
  readonly time: string;
  readonly readings: ReadonlyArray<Reading>;
};

export type Setting = {
  readonly actuator: string;
  readonly value?: number;
  /** Of a selector, instead of the value. */
  readonly position?: string;
};

export type CampaignSettings = {
  readonly title: string;
  readonly operator: string;
  readonly seed: number;
  readonly repeats: number;
  readonly question: {
    readonly text: string;
    readonly response: string;
    readonly factors: ReadonlyArray<string>;
    readonly level_pct: number;
  };
  readonly factors: ReadonlyArray<{
    readonly actuator: string;
    readonly levels: ReadonlyArray<number>;
    readonly hard_to_change?: boolean;
  }>;
  readonly constants: ReadonlyArray<Setting>;
  readonly run_up: ReadonlyArray<Setting>;
  readonly pace: {
    readonly settle_window_s: number;
    readonly settle_drift_pct: number;
    readonly longest_settle_s: number;
    readonly shortest_dwell_s: number;
    readonly longest_dwell_s: number;
    readonly target_u_pct: number;
  };
};

export type Campaign = {
  /** File name in the bench's folder. */
  readonly name: string;
  /** campaign.toml as it stands: what counts. */
  readonly text: string;
  readonly settings: CampaignSettings | null;
  /** In the order of conduct. */
  readonly plan: ReadonlyArray<PlannedPoint>;
  /** About so long, bench time. */
  readonly seconds?: number;
  /** Empty: it can be conducted. */
  readonly problems: ReadonlyArray<{
    /** `file:line` */
    readonly where: string;
    readonly what: string;
    readonly right: string;
  }>;
};

/** Exactly one of the two. `settings` makes a fresh text, without the comments of an older one. */
export type CampaignBody = {
  /** The file as it is to be. */
  readonly text?: string;
  readonly settings?: CampaignSettings;
};

export type Run = {
  readonly id: string;
  readonly kind: 'run' | 'recording';
  readonly title: string;
  readonly bench: string;
  readonly operator: string;
  /** UTC, as 2026-03-02T09:00:00.000Z */
  readonly start: string;
  readonly points: number;
  readonly samples: number;
  readonly state: 'complete' | 'interrupted' | 'conducting';
  /** Of the verdict; empty before it was reduced. */
  readonly answer: string;
  /** Where a search found it. */
  readonly line?: string;
};

export type RunDetails = {
  readonly run: Run;
  readonly notes: ReadonlyArray<{
    /** UTC, as 2026-03-02T09:00:00.000Z */
    readonly time: string;
    readonly author: string;
    readonly text: string;
  }>;
  readonly points: ReadonlyArray<{
    readonly number: number;
    readonly settings: string;
    /** UTC, as 2026-03-02T09:00:00.000Z */
    readonly start: string;
    readonly settled: boolean;
    readonly first_sample: number;
    readonly samples: number;
    /** In the recording's windows. */
    readonly from_s: number;
    readonly to_s: number;
  }>;
  readonly certificates: ReadonlyArray<{
    readonly channel: string;
    readonly model: string;
    /** UTC, as 2026-03-02T09:00:00.000Z */
    readonly date: string;
    /** UTC, as 2026-03-02T09:00:00.000Z */
    readonly valid_until: string;
    readonly standard: string;
  }>;
  /** That /files/{file} gives. */
  readonly files: ReadonlyArray<string>;
  /** Of the recording. */
  readonly channels: ReadonlyArray<string>;
  /** What the recording's bench derives from its channels; /window and the like take these names too. */
  readonly derived: ReadonlyArray<{
    readonly name: string;
    readonly long_name: string;
    readonly unit: string;
    readonly equation: string;
  }>;
};

export type Surface = {
  readonly tip_speed_ratio: ReadonlyArray<number>;
  readonly pitch_deg: ReadonlyArray<number>;
  /** (pitch_deg) x (tip_speed_ratio), rotor. */
  readonly cp: ReadonlyArray<ReadonlyArray<number>>;
  readonly ct: ReadonlyArray<ReadonlyArray<number>>;
  readonly blade_count: number;
  readonly air_speed_m_s: number;
};

/** Further members by event. */
export type LogbookLine = {
  /** UTC, as 2026-03-02T09:00:00.000Z */
  readonly time: string;
  readonly event: string;
  readonly person?: string;
  readonly text?: string;
  /** Counts up; `before` pages by it. */
  readonly number: number;
};

export type Logbook = {
  /** Newest first. */
  readonly lines: ReadonlyArray<LogbookLine>;
  readonly more: boolean;
};

/** As `windwright view --json` prints it: docs/recording.md. */
export type Window = { readonly [name: string]: unknown };

/** results.json as `windwright reduce` writes it: docs/points.md. */
export type Results = { readonly [name: string]: unknown };

export type Accepted = {
  readonly accepted: boolean;
  /** What begins; its progress is in the bench's state. */
  readonly what: string;
};

export type Nothing = { readonly [name: string]: never };

export interface Operations {
  /** This description */
  api_description: {
    method: 'GET';
    path: '/openapi.json';
    query: Nothing;
    body: null;
    answer: { readonly [name: string]: unknown };
  };
  /** Who this session is */
  session: {
    method: 'GET';
    path: '/session';
    query: Nothing;
    body: null;
    answer: Session;
  };
  /** Begin a session */
  log_in: {
    method: 'POST';
    path: '/session';
    query: Nothing;
    body: {
      readonly name: string;
      /** Where the server has accounts. */
      readonly password?: string;
      /** Where it has none: what to be; instructor if left out. */
      readonly role?: string;
    };
    answer: Session;
  };
  /** End this session */
  log_out: {
    method: 'DELETE';
    path: '/session';
    query: Nothing;
    body: null;
    answer: null;
  };
  /** Who has a session now */
  people: {
    method: 'GET';
    path: '/people';
    query: Nothing;
    body: null;
    answer: {
      readonly people: ReadonlyArray<Person>;
    };
  };
  /** Log-ins, refusals, and who did what, newest first */
  audit: {
    method: 'GET';
    path: '/audit';
    query: { search?: string; before?: number; limit?: number };
    body: null;
    answer: Logbook;
  };
  /** The benches of this server */
  benches: {
    method: 'GET';
    path: '/benches';
    query: Nothing;
    body: null;
    answer: {
      readonly benches: ReadonlyArray<{
        readonly id: string;
        readonly name: string;
        readonly simulated: boolean;
        readonly state: string;
        readonly activity: string;
        readonly fault: string | null;
      }>;
    };
  };
  /** What a bench is */
  bench: {
    method: 'GET';
    path: '/benches/{bench}';
    query: Nothing;
    body: null;
    answer: Bench;
  };
  /** What is going on at a bench */
  state: {
    method: 'GET';
    path: '/benches/{bench}/state';
    query: Nothing;
    body: null;
    answer: State;
  };
  /** Newest values and energy chain */
  values: {
    method: 'GET';
    path: '/benches/{bench}/values';
    query: Nothing;
    body: null;
    answer: Values;
  };
  /** Stop the bench: never refused, needs no lease; a session that has expired will do */
  stop: {
    method: 'POST';
    path: '/benches/{bench}/stop';
    query: Nothing;
    body: {
      /** 0: power off at once (default); 1: controlled, then off. */
      readonly category?: 0 | 1;
    };
    answer: State;
  };
  /** Command an actuator */
  command: {
    method: 'PUT';
    path: '/benches/{bench}/actuators/{actuator}';
    query: Nothing;
    body: {
      readonly value?: number;
      /** Of a selector, instead of the value. */
      readonly position?: string;
      /** Why to drive though the interlocks are not proved; it is noted. */
      readonly reason?: string;
    };
    answer: State;
  };
  /** Reset a trip whose cause is gone, at the bench */
  reset: {
    method: 'POST';
    path: '/benches/{bench}/reset';
    query: Nothing;
    body: {
      /** What was found and done. */
      readonly reason: string;
    };
    answer: State;
  };
  /** Say that what the bench asked for was done */
  answer_ask: {
    method: 'POST';
    path: '/benches/{bench}/answer';
    query: Nothing;
    body: {
      /** Of the ask. */
      readonly number: number;
    };
    answer: State;
  };
  /** Who commands */
  lease: {
    method: 'GET';
    path: '/benches/{bench}/lease';
    query: Nothing;
    body: null;
    answer: Lease;
  };
  /** Take a lease that is free (operators), or that was offered */
  take_lease: {
    method: 'POST';
    path: '/benches/{bench}/lease';
    query: Nothing;
    body: { readonly [name: string]: never };
    answer: Lease;
  };
  /** Keep it: a sign of life */
  keep_lease: {
    method: 'PUT';
    path: '/benches/{bench}/lease';
    query: Nothing;
    body: { readonly [name: string]: never };
    answer: Lease;
  };
  /** Give it back; a bench that runs is stopped under control */
  release_lease: {
    method: 'DELETE';
    path: '/benches/{bench}/lease';
    query: Nothing;
    body: null;
    answer: Lease;
  };
  /** Offer it to somebody with a session, a learner too; it is theirs when they take it */
  offer_lease: {
    method: 'POST';
    path: '/benches/{bench}/lease/offer';
    query: Nothing;
    body: {
      /** Name, as in /people. */
      readonly to: string;
    };
    answer: Lease;
  };
  /** Whoever calls is at the bench and consents to starts from afar */
  consent: {
    method: 'POST';
    path: '/benches/{bench}/lease/consent';
    query: Nothing;
    body: {
      /** Who may start from afar, as in /people. */
      readonly to: string;
      /** 1 to 480 */
      readonly minutes: number;
      /** Ends with the run. */
      readonly one_run?: boolean;
    };
    answer: Lease;
  };
  /** Withdraw it: the bench is stopped under control */
  withdraw_consent: {
    method: 'DELETE';
    path: '/benches/{bench}/lease/consent';
    query: Nothing;
    body: null;
    answer: Lease;
  };
  /** What is to be done before a session, and what is done */
  checklist: {
    method: 'GET';
    path: '/benches/{bench}/checklist';
    query: Nothing;
    body: null;
    answer: Checklist;
  };
  /** Tick a step, or take the tick back */
  tick: {
    method: 'POST';
    path: '/benches/{bench}/checklist';
    query: Nothing;
    body: {
      readonly step: string;
      readonly done: boolean;
    };
    answer: Checklist;
  };
  /** Measure the check standards now */
  check_readiness: {
    method: 'POST';
    path: '/benches/{bench}/readiness';
    query: Nothing;
    body: { readonly [name: string]: never };
    answer: Accepted;
  };
  /** Certificates and which are due */
  certificates: {
    method: 'GET';
    path: '/benches/{bench}/certificates';
    query: Nothing;
    body: null;
    answer: {
      readonly certificates: ReadonlyArray<CertificateNote>;
    };
  };
  /** One certificate */
  certificate: {
    method: 'GET';
    path: '/benches/{bench}/certificates/{channel}';
    query: Nothing;
    body: null;
    answer: Certificate;
  };
  /** The calibration that is under way, or was last */
  calibration: {
    method: 'GET';
    path: '/benches/{bench}/calibration';
    query: Nothing;
    body: null;
    answer: Calibration;
  };
  /** Begin to calibrate a channel by its plan */
  calibrate: {
    method: 'POST';
    path: '/benches/{bench}/calibration';
    query: Nothing;
    body: {
      readonly channel: string;
    };
    answer: Accepted;
  };
  /** End it without a certificate */
  end_calibration: {
    method: 'DELETE';
    path: '/benches/{bench}/calibration';
    query: Nothing;
    body: null;
    answer: Calibration;
  };
  /** Sign the proposed certificate and put it in force */
  sign_certificate: {
    method: 'POST';
    path: '/benches/{bench}/calibration/sign';
    query: Nothing;
    body: {
      /** Name of who answers for it. */
      readonly signature: string;
    };
    answer: Calibration;
  };
  /** Whether the interlocks count as proved, and the proof that is under way or was last */
  proof: {
    method: 'GET';
    path: '/benches/{bench}/proof';
    query: Nothing;
    body: null;
    answer: Proof;
  };
  /** Make every interlock trip, one after the other, with nothing turning and a person at the bench */
  prove_interlocks: {
    method: 'POST';
    path: '/benches/{bench}/proof';
    query: Nothing;
    body: {
      /** Name of who is at the bench and answers for it. */
      readonly person: string;
      /** Ids of `to_confirm`: all of them. */
      readonly confirmed: ReadonlyArray<string>;
      /** No calibrator at hand: bounds are moved to where the bench stands instead. */
      readonly moved_bounds?: boolean;
    };
    answer: Accepted;
  };
  /** End it: the proof before it stands */
  end_proof: {
    method: 'DELETE';
    path: '/benches/{bench}/proof';
    query: Nothing;
    body: null;
    answer: Proof;
  };
  /** Campaign files in the bench's folder */
  campaigns: {
    method: 'GET';
    path: '/benches/{bench}/campaigns';
    query: Nothing;
    body: null;
    answer: {
      readonly campaigns: ReadonlyArray<{
        readonly name: string;
        readonly title: string;
        readonly problem?: string;
      }>;
    };
  };
  /** A campaign with its plan */
  read_campaign: {
    method: 'GET';
    path: '/benches/{bench}/campaigns/{campaign}';
    query: Nothing;
    body: null;
    answer: Campaign;
  };
  /** Save it, whole; refused where it cannot be read */
  save_campaign: {
    method: 'PUT';
    path: '/benches/{bench}/campaigns/{campaign}';
    query: Nothing;
    body: CampaignBody;
    answer: Campaign;
  };
  /** Try a campaign without saving it */
  check_campaign: {
    method: 'POST';
    path: '/benches/{bench}/campaigns/check';
    query: Nothing;
    body: CampaignBody;
    answer: Campaign;
  };
  /** Where the bench settles by theory as it is set now, and with one setting changed */
  foreseen: {
    method: 'GET';
    path: '/benches/{bench}/foreseen';
    query: { actuator: string; value: number };
    body: null;
    answer: Change;
  };
  /** What every channel says now, how it goes, and the bound that it is nearest to */
  readings: {
    method: 'GET';
    path: '/benches/{bench}/readings';
    query: Nothing;
    body: null;
    answer: Readings;
  };
  /** Spectrum of the newest samples of a channel or power */
  live_spectrum: {
    method: 'GET';
    path: '/benches/{bench}/spectrum';
    query: { channel: string };
    body: null;
    answer: LiveSpectrum;
  };
  /** Predicted Cp and Ct of the rotor over tip-speed ratio and pitch */
  surface: {
    method: 'GET';
    path: '/benches/{bench}/surface';
    query: { blade_count?: number; air_speed_m_s?: number; tip_speed_ratio?: string; pitch_deg?: string };
    body: null;
    answer: Surface;
  };
  /** How far the campaign is */
  progress: {
    method: 'GET';
    path: '/benches/{bench}/campaign';
    query: Nothing;
    body: null;
    answer: Progress;
  };
  /** Conduct a campaign from its beginning, or an interrupted run to its end */
  start_campaign: {
    method: 'POST';
    path: '/benches/{bench}/campaign';
    query: Nothing;
    body: {
      /** File name; or `run`. */
      readonly campaign?: string;
      /** Id of an interrupted run of this bench. */
      readonly run?: string;
      /** Why to go on though the bench is not ready or has tripped; it is reported. */
      readonly reason?: string;
    };
    answer: Accepted;
  };
  /** Stop after the current block; the bench is safe, the run can go on */
  pause_campaign: {
    method: 'POST';
    path: '/benches/{bench}/campaign/pause';
    query: Nothing;
    body: { readonly [name: string]: never };
    answer: Progress;
  };
  /** Go on after a pause */
  resume_campaign: {
    method: 'POST';
    path: '/benches/{bench}/campaign/resume';
    query: Nothing;
    body: {
      readonly reason?: string;
    };
    answer: Progress;
  };
  /** End it here; what was measured is reduced and reported */
  end_campaign: {
    method: 'POST';
    path: '/benches/{bench}/campaign/end';
    query: Nothing;
    body: { readonly [name: string]: never };
    answer: Progress;
  };
  /** What happened at the bench, newest first */
  logbook: {
    method: 'GET';
    path: '/benches/{bench}/logbook';
    query: { search?: string; before?: number; limit?: number };
    body: null;
    answer: Logbook;
  };
  /** Add a note; nothing can be taken out */
  add_note: {
    method: 'POST';
    path: '/benches/{bench}/logbook';
    query: Nothing;
    body: {
      readonly text: string;
    };
    answer: LogbookLine;
  };
  /** Runs and recordings, newest first */
  runs: {
    method: 'GET';
    path: '/runs';
    query: { search?: string; bench?: string; limit?: number };
    body: null;
    answer: {
      readonly runs: ReadonlyArray<Run>;
    };
  };
  /** What the catalogue says of a run */
  run: {
    method: 'GET';
    path: '/runs/{run}';
    query: Nothing;
    body: null;
    answer: RunDetails;
  };
  /** Its results */
  results: {
    method: 'GET';
    path: '/runs/{run}/results';
    query: Nothing;
    body: null;
    answer: Results;
  };
  /** One of its files: points.csv, curves.csv, results.json, report.html, report.pdf, recording.h5, campaign.toml, bench.toml, logbook.jsonl */
  download: {
    method: 'GET';
    path: '/runs/{run}/files/{file}';
    query: Nothing;
    body: null;
    answer: Blob;
  };
  /** Its logbook, in order */
  run_logbook: {
    method: 'GET';
    path: '/runs/{run}/logbook';
    query: Nothing;
    body: null;
    answer: Logbook;
  };
  /** Add a note to it */
  note_run: {
    method: 'POST';
    path: '/runs/{run}/notes';
    query: Nothing;
    body: {
      readonly text: string;
    };
    answer: RunDetails;
  };
  /** A window of a channel in bins */
  window: {
    method: 'GET';
    path: '/runs/{run}/window';
    query: { channel: string; from_s?: number; to_s?: number; bins?: number };
    body: null;
    answer: Window;
  };
  /** Spectrum of a window */
  spectrum: {
    method: 'GET';
    path: '/runs/{run}/spectrum';
    query: { channel: string; from_s?: number; to_s?: number; resolution_Hz?: number };
    body: null;
    answer: Window;
  };
  /** Mean, deviation and uncertainty of a window */
  statistics: {
    method: 'GET';
    path: '/runs/{run}/statistics';
    query: { channel: string; from_s?: number; to_s?: number };
    body: null;
    answer: Window;
  };
  /** One channel against another */
  pairs: {
    method: 'GET';
    path: '/runs/{run}/pairs';
    query: { channel: string; from_s?: number; to_s?: number; against: string; bins?: number };
    body: null;
    answer: Window;
  };
  /** WebSocket: see x-live */
  live: {
    method: 'GET';
    path: '/live';
    query: Nothing;
    body: null;
    answer: null;
  };
}

export const ways: { readonly [Name in keyof Operations]: readonly [string, string] } = {
  api_description: ['GET', '/openapi.json'],
  session: ['GET', '/session'],
  log_in: ['POST', '/session'],
  log_out: ['DELETE', '/session'],
  people: ['GET', '/people'],
  audit: ['GET', '/audit'],
  benches: ['GET', '/benches'],
  bench: ['GET', '/benches/{bench}'],
  state: ['GET', '/benches/{bench}/state'],
  values: ['GET', '/benches/{bench}/values'],
  stop: ['POST', '/benches/{bench}/stop'],
  command: ['PUT', '/benches/{bench}/actuators/{actuator}'],
  reset: ['POST', '/benches/{bench}/reset'],
  answer_ask: ['POST', '/benches/{bench}/answer'],
  lease: ['GET', '/benches/{bench}/lease'],
  take_lease: ['POST', '/benches/{bench}/lease'],
  keep_lease: ['PUT', '/benches/{bench}/lease'],
  release_lease: ['DELETE', '/benches/{bench}/lease'],
  offer_lease: ['POST', '/benches/{bench}/lease/offer'],
  consent: ['POST', '/benches/{bench}/lease/consent'],
  withdraw_consent: ['DELETE', '/benches/{bench}/lease/consent'],
  checklist: ['GET', '/benches/{bench}/checklist'],
  tick: ['POST', '/benches/{bench}/checklist'],
  check_readiness: ['POST', '/benches/{bench}/readiness'],
  certificates: ['GET', '/benches/{bench}/certificates'],
  certificate: ['GET', '/benches/{bench}/certificates/{channel}'],
  calibration: ['GET', '/benches/{bench}/calibration'],
  calibrate: ['POST', '/benches/{bench}/calibration'],
  end_calibration: ['DELETE', '/benches/{bench}/calibration'],
  sign_certificate: ['POST', '/benches/{bench}/calibration/sign'],
  proof: ['GET', '/benches/{bench}/proof'],
  prove_interlocks: ['POST', '/benches/{bench}/proof'],
  end_proof: ['DELETE', '/benches/{bench}/proof'],
  campaigns: ['GET', '/benches/{bench}/campaigns'],
  read_campaign: ['GET', '/benches/{bench}/campaigns/{campaign}'],
  save_campaign: ['PUT', '/benches/{bench}/campaigns/{campaign}'],
  check_campaign: ['POST', '/benches/{bench}/campaigns/check'],
  foreseen: ['GET', '/benches/{bench}/foreseen'],
  readings: ['GET', '/benches/{bench}/readings'],
  live_spectrum: ['GET', '/benches/{bench}/spectrum'],
  surface: ['GET', '/benches/{bench}/surface'],
  progress: ['GET', '/benches/{bench}/campaign'],
  start_campaign: ['POST', '/benches/{bench}/campaign'],
  pause_campaign: ['POST', '/benches/{bench}/campaign/pause'],
  resume_campaign: ['POST', '/benches/{bench}/campaign/resume'],
  end_campaign: ['POST', '/benches/{bench}/campaign/end'],
  logbook: ['GET', '/benches/{bench}/logbook'],
  add_note: ['POST', '/benches/{bench}/logbook'],
  runs: ['GET', '/runs'],
  run: ['GET', '/runs/{run}'],
  results: ['GET', '/runs/{run}/results'],
  download: ['GET', '/runs/{run}/files/{file}'],
  run_logbook: ['GET', '/runs/{run}/logbook'],
  note_run: ['POST', '/runs/{run}/notes'],
  window: ['GET', '/runs/{run}/window'],
  spectrum: ['GET', '/runs/{run}/spectrum'],
  statistics: ['GET', '/runs/{run}/statistics'],
  pairs: ['GET', '/runs/{run}/pairs'],
  live: ['GET', '/live'],
};

/** Replaces an earlier one for this bench. */
export type SubscribeRequest = {
  readonly type: 'subscribe';
  readonly bench: string;
  /** Names of channels and powers, at most 64; empty: all. */
  readonly channels: ReadonlyArray<string>;
  /** 0.5 to 86400 */
  readonly window_s: number;
  /** Of the window, 10 to 2000. */
  readonly bins: number;
};

export type UnsubscribeRequest = {
  readonly type: 'unsubscribe';
  readonly bench: string;
};

export type SubscribedMessage = {
  readonly type: 'subscribed';
  readonly bench: string;
  /** In the envelopes. */
  readonly stream: number;
  /** Their order in the envelopes. */
  readonly channels: ReadonlyArray<string>;
  readonly units: ReadonlyArray<string>;
  /** The width there is: at most window_s / bins, but no shorter than a sample. */
  readonly bin_s: number;
  /** Device time of bin 0, in s of POSIX time: bin k begins at origin_s + k bin_s. */
  readonly origin_s: number;
  /** How many to keep. */
  readonly bins: number;
};

export type RefusedMessage = {
  readonly type: 'refused';
  readonly what: string;
  readonly right: string;
};

/** After each change, and once a second. `lease.mine` is of this viewer's session. */
export type StateMessage = {
  readonly type: 'state';
  readonly bench: string;
  readonly state: State;
};

/** Twice a second. */
export type ChainMessage = {
  readonly type: 'chain';
  readonly bench: string;
  readonly chain: Chain;
};

/** Twice a second. */
export type ReadingsMessage = {
  readonly type: 'readings';
  readonly bench: string;
  readonly readings: Readings;
};

export type EventMessage = {
  readonly type: 'event';
  readonly bench: string;
  /** UTC, as 2026-03-02T09:00:00.000Z */
  readonly time: string;
  /** trip, trip_recording, reset, stop, command, point, campaign, lease, ask, known_input, readiness, calibration, certificate, proof, checklist, note, fault, device */
  readonly event: string;
  readonly text?: string;
  readonly person?: string;
  /** Of the logbook's line, where it is in there. */
  readonly number?: number;
};

export type LiveRequest = SubscribeRequest | UnsubscribeRequest;
export type LiveMessage = SubscribedMessage | RefusedMessage | StateMessage | ChainMessage | ReadingsMessage | EventMessage;
