import { days, minutes } from "../../../server/domain/instant.ts";
import type {
  AlarmEvent,
  Escalation,
  EscalationStep,
  Recipient,
  Recipients,
} from "../../../server/domain/notification/escalation.ts";
import type { EscalationFunctions } from "./escalationScenario.ts";

/** Rules with one thing wrong, by what goes into the true ones or comes out of them. */
const mapStep =
  (change: (step: EscalationStep, before: Escalation | null) => EscalationStep) =>
  (rules: EscalationFunctions): EscalationFunctions => ({
    ...rules,
    hear: (call, word, of, circle, now) => change(rules.hear(call, word, of, circle, now), call),
    advanceCall: (call, circle, now) => change(rules.advanceCall(call, circle, now), call),
  });
const mapCircle =
  (change: (circle: Recipients) => Recipients) =>
  (rules: EscalationFunctions): EscalationFunctions => ({
    ...rules,
    hear: (call, word, of, circle, now) => rules.hear(call, word, of, change(circle), now),
    advanceCall: (call, circle, now) => rules.advanceCall(call, change(circle), now),
  });
const mapPeople = (change: (person: Recipient) => Recipient) =>
  mapCircle((circle) => ({ ...circle, people: circle.people.map(change) }));
const mapCall = (change: (call: Escalation, before: Escalation | null) => Escalation) =>
  mapStep((step, before) => ({ ...step, escalation: step.escalation && change(step.escalation, before) }));
const deaf =
  (...kinds: AlarmEvent["kind"][]) =>
  (rules: EscalationFunctions): EscalationFunctions => ({
    ...rules,
    hear: (call, word, of, circle, now) => {
      if (!kinds.includes(word.kind)) return rules.hear(call, word, of, circle, now);
      return call ? rules.advanceCall(call, circle, now) : { escalation: call, notifications: [], nextAt: null };
    },
  });

export const plantedBugs: Readonly<Record<string, (rules: EscalationFunctions) => EscalationFunctions>> = {
  "quiet hours are ignored": mapPeople((person) => ({ ...person, quietHours: null })),
  "urgent breaks everybody's quiet hours": mapPeople((person) => ({ ...person, urgentBreaks: true })),
  "quiet hours are taken for UTC": mapCircle((circle) => ({ ...circle, zone: "UTC" })),
  "who sleeps is passed for good": mapCircle((circle) => ({
    ...circle,
    people: circle.people.filter(({ quietHours, urgentBreaks }) => quietHours === null || urgentBreaks),
  })),
  "nobody is remembered as told": mapCall((call) => ({ ...call, recipientStates: [] })),
  "each ring counts as the first": mapCall((call) => ({
    ...call,
    recipientStates: call.recipientStates.map((one) => ({ ...one, timesNotified: Math.min(one.timesNotified, 1) })),
  })),
  "a gap counts from the first ring": mapCall((call) => ({
    ...call,
    recipientStates: call.recipientStates.map((one) => ({ ...one, reminderCountedFrom: one.firstNotifiedAt })),
  })),
  "turns go on after a minute": mapCircle((circle) => ({ ...circle, escalateAfter: minutes(1) })),
  "all are of the first turn": mapPeople((person) => ({ ...person, escalationOrder: 1 })),
  "nothing is taken off the screens": mapStep((step) => ({
    ...step,
    notifications: step.notifications.filter(({ content }) => !content.isClosing),
  })),
  "turns never go on": mapCircle((circle) => ({ ...circle, escalateAfter: days(3_650) })),
  "the last turn is forgotten": mapCircle((circle) => ({
    ...circle,
    people: circle.people.filter(
      ({ escalationOrder }) => escalationOrder < 3 || circle.people.every((one) => one.escalationOrder === 3),
    ),
  })),
  "only one of a turn is told": mapCircle((circle) => ({
    ...circle,
    people: circle.people.filter(
      ({ escalationOrder }, n) => circle.people.findIndex((one) => one.escalationOrder === escalationOrder) === n,
    ),
  })),
  "mail is never tried": mapPeople((person) => ({ ...person, email: null })),
  "a push counts as shown": mapCall((call) => ({
    ...call,
    recipientStates: call.recipientStates.map((one) => ({ ...one, displayedAt: one.pushedAt })),
  })),
  "a letter goes with each ring": mapStep((step) => ({
    ...step,
    notifications: step.notifications.flatMap((one) => [one, { ...one, channel: "email" as const }]),
  })),
  "a letter isn't remembered": mapCall((call) => ({
    ...call,
    recipientStates: call.recipientStates.map((one) => ({ ...one, emailedAt: null })),
  })),
  "an acknowledgement is overheard": deaf("acknowledged"),
  "a return is overheard": deaf("returned"),
  "setting aside is overheard": deaf("suppressed"),
  "good news goes to everybody": (rules) => ({
    ...rules,
    hear: (call, word, of, circle, now) => {
      const step = rules.hear(call, word, of, circle, now);
      const [first] = step.notifications;
      if (word.kind !== "returned" || !first) return step;
      const phones = circle.people.filter((person) => person.phoneCount > 0);
      return { ...step, notifications: phones.map(({ id }) => ({ ...first, person: id, channel: "push" as const })) };
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
    step.notifications.length > 0 ? { ...step, escalation: null } : step,
  ),
};
