import { days, minutes } from "../../../server/domain/instant.ts";
import type { Call, CallStep, CallWord, Circle, Person } from "../../../server/domain/telling/call.ts";
import type { Rules } from "./circle.ts";

/** Rules with one thing wrong, by what goes into the true ones or comes out of them. */
const mapStep =
  (change: (step: CallStep, before: Call | null) => CallStep) =>
  (rules: Rules): Rules => ({
    ...rules,
    hear: (call, word, of, circle, now) => change(rules.hear(call, word, of, circle, now), call),
    advanceCall: (call, circle, now) => change(rules.advanceCall(call, circle, now), call),
  });
const mapCircle =
  (change: (circle: Circle) => Circle) =>
  (rules: Rules): Rules => ({
    ...rules,
    hear: (call, word, of, circle, now) => rules.hear(call, word, of, change(circle), now),
    advanceCall: (call, circle, now) => rules.advanceCall(call, change(circle), now),
  });
const mapPeople = (change: (person: Person) => Person) =>
  mapCircle((circle) => ({ ...circle, people: circle.people.map(change) }));
const mapCall = (change: (call: Call, before: Call | null) => Call) =>
  mapStep((step, before) => ({ ...step, call: step.call && change(step.call, before) }));
const deaf =
  (...kinds: CallWord["kind"][]) =>
  (rules: Rules): Rules => ({
    ...rules,
    hear: (call, word, of, circle, now) => {
      if (!kinds.includes(word.kind)) return rules.hear(call, word, of, circle, now);
      return call ? rules.advanceCall(call, circle, now) : { call, tellings: [], nextAt: null };
    },
  });

export const plantedBugs: Readonly<Record<string, (rules: Rules) => Rules>> = {
  "quiet hours are ignored": mapPeople((person) => ({ ...person, quiet: null })),
  "urgent breaks everybody's quiet hours": mapPeople((person) => ({ ...person, urgentBreaks: true })),
  "quiet hours are taken for UTC": mapCircle((circle) => ({ ...circle, zone: "UTC" })),
  "who sleeps is passed for good": mapCircle((circle) => ({
    ...circle,
    people: circle.people.filter(({ quiet, urgentBreaks }) => quiet === null || urgentBreaks),
  })),
  "nobody is remembered as told": mapCall((call) => ({ ...call, told: [] })),
  "each ring counts as the first": mapCall((call) => ({
    ...call,
    told: call.told.map((one) => ({ ...one, times: Math.min(one.times, 1) })),
  })),
  "a gap counts from the first ring": mapCall((call) => ({
    ...call,
    told: call.told.map((one) => ({ ...one, gapFrom: one.firstAt })),
  })),
  "turns go on after a minute": mapCircle((circle) => ({ ...circle, escalateAfter: minutes(1) })),
  "all are of the first turn": mapPeople((person) => ({ ...person, turn: 1 })),
  "nothing is taken off the screens": mapStep((step) => ({
    ...step,
    tellings: step.tellings.filter(({ notice }) => !notice.closes),
  })),
  "turns never go on": mapCircle((circle) => ({ ...circle, escalateAfter: days(3_650) })),
  "the last turn is forgotten": mapCircle((circle) => ({
    ...circle,
    people: circle.people.filter(({ turn }) => turn < 3 || circle.people.every((one) => one.turn === 3)),
  })),
  "only one of a turn is told": mapCircle((circle) => ({
    ...circle,
    people: circle.people.filter(({ turn }, n) => circle.people.findIndex((one) => one.turn === turn) === n),
  })),
  "mail is never tried": mapPeople((person) => ({ ...person, mail: null })),
  "a push counts as shown": mapCall((call) => ({
    ...call,
    told: call.told.map((one) => ({ ...one, shownAt: one.pushedAt })),
  })),
  "a letter goes with each ring": mapStep((step) => ({
    ...step,
    tellings: step.tellings.flatMap((one) => [one, { ...one, by: "mail" as const }]),
  })),
  "a letter isn't remembered": mapCall((call) => ({
    ...call,
    told: call.told.map((one) => ({ ...one, mailedAt: null })),
  })),
  "an acknowledgement is overheard": deaf("acknowledged"),
  "a return is overheard": deaf("returned"),
  "setting aside is overheard": deaf("setAside"),
  "good news goes to everybody": (rules) => ({
    ...rules,
    hear: (call, word, of, circle, now) => {
      const step = rules.hear(call, word, of, circle, now);
      const [first] = step.tellings;
      if (word.kind !== "returned" || !first) return step;
      const phones = circle.people.filter((person) => person.phones > 0);
      return { ...step, tellings: phones.map(({ id }) => ({ ...first, person: id, by: "push" as const })) };
    },
  }),
  "what comes right back rings anew": (rules) => ({
    ...rules,
    hear: (call, word, of, circle, now) => {
      const loud = word.kind === "raised" ? { ...word, sameEpisode: false } : word;
      return rules.hear(call, loud, of, circle, now);
    },
  }),
  "what grows graver rings nobody": deaf("worsened"),
  "a look is forgotten": mapStep((step) => ({ ...step, nextAt: null })),
  "a call is forgotten once it has told": mapStep((step) =>
    step.tellings.length > 0 ? { ...step, call: null } : step,
  ),
};
