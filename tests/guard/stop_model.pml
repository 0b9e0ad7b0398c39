/* SPDX-License-Identifier: Apache-2.0
 *
 * Model of a bench and of everything that may stop it, for spin. Its layers:
 *
 *   acquisition   judges every block, drives the device, takes what people ask for
 *   guard         a process of its own with a link of its own; judges the same blocks
 *   watchdog      in the device: fed only while both are content
 *   chain         hard-wired: emergency stop, cover switch, fuse; read back by both layers
 *
 * Acquisition and guard run the machine of src/guard/stop_logic.cpp: stop_table.pml is written from
 * its table by the test that calls spin. All processes run freely against each other, so every
 * order and every delay is among the cases. Time is left out: a time-out is possible as soon as
 * what it waits for stays away, and (by weak fairness) certain if that is for ever. A chain that
 * fails to open is among the cases too: nothing here relies on it.
 *
 * FAULTS is the most in one history. The others are defined only to show what the model would
 * notice: BLIND no layer sees a violation; PERSON_WATCHES somebody at the bench presses the
 * emergency stop then; NO_CONSENT acquisition starts without waiting for the guard; NO_READ_BACK no
 * layer looks whether the fan is on where it should not be; RESET_IN_TURN no layer is reset while
 * the other is tripped. In QUIET nothing is amiss. With PERSON_STAYS every trip finds somebody at
 * the bench who asks for its reset.
 */
#include "stop_table.pml" /* states, events, actions, look_up(), is_latched() and so on */

#ifndef FAULTS
#define FAULTS 2
#endif

#define A 0 /* acquisition */
#define G 1 /* guard */

mtype = { alive, frozen, dead }; /* a stopped process goes on, a killed one starts anew: perhaps */
mtype process[2] = alive;
bool link[2] = true; /* of acquisition and of guard to the device */
bool tap = true;     /* between the two: heartbeats and states */
bool watchdog_works = true;

byte state[2] = safe;
bool wants = false;       /* acquisition says in the tap: a drive is wanted or on */
bool fan = false;         /* as commanded, in the device */
bool device_trip = false; /* latched by the watchdog: the device refuses the fan */
bool chain = true;        /* closed: emergency stop not pressed, cover shut, fuse whole */
bool violation = false;   /* of an interlock, of any stop category */

#define latched(who) is_latched(state[who])
#define heard(who) (process[who] == alive && tap)
#define feeds(who) (process[who] == alive && link[who] && feeds_watchdog(state[who]))
/* Acquisition's reset is what resets the device's trip; the guard's waits for that. */
#ifdef RESET_IN_TURN
#define may_be_reset(me) (!latched(1 - me))
#else
#define may_be_reset(me) true
#endif
#define causes_gone(me) \
  (!violation && chain && link[me] && (me == A || !device_trip) && may_be_reset(me))

#ifdef BLIND
#define seen false
#else
#define seen violation
#endif
#ifdef NO_CONSENT
#define consent (heard(G) && !latched(G))
#else
#define consent (heard(G) && permits_fan(state[G]))
#endif
#ifdef NO_READ_BACK
#define driven_unasked(me) false
#else
#define driven_unasked(me) (fan && (state[me] == safe || state[me] == tripped))
#endif

/* Where events come from; every layer asks each of them in this order, again and again. */
#define from_device 0
#define from_interlocks 1
#define from_other 2
#define from_people 3
#define from_stop 4
#define sources 5
#define no_event 255

/* What people ask for: a reset at the bench, the others from anywhere. */
#define ask_nothing 0
#define ask_start 1
#define ask_end 2
#define ask_reset_from_afar 3
#define ask_reset_here 4

hidden byte source;
hidden byte event;
hidden byte before;
hidden byte actions;
hidden byte was_under_way;

inline find_event() {
  event = no_event;
  if
  :: source == from_device && (!link[me] || !chain || device_trip || driven_unasked(me)) ->
     event = violation_0
  :: source == from_interlocks && seen -> event = violation_0 + category
  :: source == from_other && !heard(1 - me) -> event = other_silent
  :: source == from_other && heard(1 - me) && latched(1 - me) ->
     /* One that has removed power is followed at once: a ramp would command the fan anew. */
     event = (state[1 - me] == tripped && (state[me] == running || state[me] == stopping) ->
              violation_0 : other_tripped)
  :: source == from_stop && is_under_way(state[me]) && !fan -> event = stop_finished
  :: source == from_stop && is_under_way(state[me]) && fan && was_under_way -> event = stop_overdue
  :: source == from_stop && !is_under_way(state[me]) && stray != 0 -> event = stray
  :: source == from_people && ask == ask_start ->
     wants = !latched(A);
     event = (consent -> start_asked : start_asked_unready)
  :: source == from_people && ask == ask_end -> wants = false; event = end_asked
  :: source == from_people && ask == ask_reset_here ->
     event = (causes_gone(me) -> reset_asked : reset_asked_cause_remains)
  :: source == from_people && ask == ask_reset_from_afar ->
     event = (causes_gone(me) -> reset_asked_from_afar : reset_asked_from_afar_cause_remains)
  /* The guard is the first to run and the last to end. */
  :: source == from_people && ask == ask_nothing && me == G && heard(A) && wants &&
       state[G] == safe -> event = start_asked
  :: source == from_people && ask == ask_nothing && me == G && heard(A) && !wants && !fan &&
       permits_fan(state[G]) && !permits_fan(state[A]) -> event = end_asked
  :: else
  fi
}

inline take_event() {
  before = state[me];
  look_up(before, event, state[me], actions);
  /* A trip is left by a reset only: of a person at the bench, every cause gone. */
  assert(!is_latched(before) || latched(me) ||
         (source == from_people && ask == ask_reset_here && causes_gone(me)));
  /* Running is a consequence of having asked, and of nothing else. */
  assert(!permits_fan(state[me]) || permits_fan(before) || source == from_people);
  /* The guard's controlled stop is to watch acquisition's. */
  if
  :: (actions & remove_power) || (me == A && (actions & begin_controlled_stop)) -> drop = true
  :: else
  fi;
  if
  :: me == A && (actions & unlatch) -> undo = true
  :: else
  fi
}

inline judge() {
  source = from_device;
  was_under_way = is_under_way(state[me]);
  do
  :: source < sources ->
     find_event();
     if
     :: event != no_event -> take_event()
     :: else
     fi;
     source++
  :: else -> break
  od;
  if
  :: me == A && latched(A) -> wants = false
  :: else
  fi;
  ask = ask_nothing; category = 0; stray = 0;
  source = 0; event = 0; before = 0; actions = 0; was_under_way = false
}

/* Over the layer's own link, if there is one. The guard only ever switches off. */
inline act() {
  if
  :: drop && link[me] -> fan = false
  :: else
  fi;
  if
  :: undo && link[me] -> device_trip = false
  :: else
  fi;
  drop = false;
  undo = false
}

proctype layer(bit me) {
  byte ask, category, stray;
  bool drop, undo;
end_judge:
  if
  :: atomic {
       process[me] == alive ->
       if
#ifdef PERSON_STAYS
       :: latched(me) -> ask = ask_reset_here
       :: !latched(me)
       :: !latched(me) && me == A -> ask = ask_start
       :: !latched(me) && me == A && wants -> ask = ask_end
#else
       :: ask = ask_nothing
       :: me == A -> ask = ask_start
       :: me == A -> ask = ask_end
       :: ask = ask_reset_here
       :: ask = ask_reset_from_afar
#ifndef QUIET
       /* A message that is late: of another stop, or of one that was given up. */
       :: !is_under_way(state[me]) -> stray = stop_finished
       :: !is_under_way(state[me]) -> stray = stop_overdue
#endif
#endif
       :: state[me] != tripped && seen -> category = 1
       :: state[me] != tripped && seen -> category = 2
       fi;
       d_step { judge() }
     }
  :: process[me] == dead -> goto gone
  fi;
  /* Stopped, killed or cut off here, between judging and acting, it acts late or not at all. */
end_act:
  if
  :: d_step { process[me] == alive -> act() }
  :: d_step { process[me] == alive && me == A && permits_fan(state[A]) && !drop && link[A] &&
              !device_trip && !fan -> fan = true }
  :: process[me] == dead -> goto gone
  fi;
  goto end_judge;
gone:
end_gone:
  /* Started anew: a trip is kept on disk, nothing else is. */
  if
  :: d_step {
       process[me] == alive ->
       drop = false;
       undo = false;
       state[me] = (latched(me) -> tripped : safe);
       wants = (me == A -> false : wants)
     }
  fi;
  goto end_judge
}

proctype watchdog() {
end:
  do
  :: d_step { watchdog_works && fan && !(feeds(A) && feeds(G)) -> fan = false; device_trip = true }
  od
}

/* What the bench does to itself and people do to it, if they do anything at all. */
proctype world() {
  do
#ifndef QUIET
  :: violation = !violation
  :: chain -> chain = false
  :: !chain && !fan -> chain = true /* the order that the checklist asks for */
#endif
  :: chain = chain /* or nothing, for ever */
  od
}

proctype faults() {
  byte left = FAULTS;
  do
  :: d_step { left > 0 && process[A] == alive -> process[A] = frozen; left-- }
  :: d_step { left > 0 && process[A] == alive -> process[A] = dead; left-- }
  :: d_step { left > 0 && process[G] == alive -> process[G] = frozen; left-- }
  :: d_step { left > 0 && process[G] == alive -> process[G] = dead; left-- }
  :: d_step { left > 0 && link[A] -> link[A] = false; left-- }
  :: d_step { left > 0 && link[G] -> link[G] = false; left-- }
  :: d_step { left > 0 && tap -> tap = false; left-- }
  :: d_step { left > 0 && watchdog_works -> watchdog_works = false; left-- }
  /* Some come back. */
  :: process[A] == frozen -> process[A] = alive
  :: process[A] == dead -> process[A] = alive
  :: process[G] == frozen -> process[G] = alive
  :: process[G] == dead -> process[G] = alive
  :: !link[A] -> link[A] = true
  :: !link[G] -> link[G] = true
  :: !tap -> tap = true
  :: tap = tap
  od
}

#ifdef PERSON_WATCHES
proctype watcher() {
end:
  do
  :: d_step { violation && fan && chain -> chain = false }
  od
}
#endif

init {
  atomic {
    run layer(A);
    run layer(G);
    run watchdog();
    run world();
    run faults();
#ifdef PERSON_WATCHES
    run watcher()
#endif
  }
}

#define any_trip (latched(A) || latched(G))
#define any_dead (process[A] == dead || process[G] == dead)
#define both_alive (process[A] == alive && process[G] == alive)
#define well (both_alive && link[A] && link[G] && tap && chain && !violation)

/* With a trip latched, or anything amiss that a layer can see, the fan's command does not stay. */
ltl settles { []<> (!fan || (well && !any_trip)) }
/* As long as a process is gone, the fan does not come on again and again either. */
ltl stays_off { <>[] any_dead -> <>[] !fan }
/* Whatever happened: once all is well again and somebody is there to say so, the bench is ready. */
ltl recovers { <>[] (well && watchdog_works) -> []<> (!any_trip && !device_trip) }
/* For QUIET: where nothing is amiss, nothing trips. */
ltl no_nuisance { [] (!any_trip && !device_trip) }
/* For QUIET, and wrong: the bench can be driven at all, else the others would be worth nothing. */
ltl never_driven { [] !(fan && permits_fan(state[A]) && permits_fan(state[G])) }
/* For BLIND: is the fan without power at last? */
ltl loses_power { []<> (!fan || !chain || !violation) }
