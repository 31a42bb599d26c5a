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
    handleEvent: (escalation, event, of, recipients, now) =>
      change(rules.handleEvent(escalation, event, of, recipients, now), escalation),
    advance: (escalation, recipients, now) => change(rules.advance(escalation, recipients, now), escalation),
  });
const mapRecipients =
  (change: (recipients: Recipients) => Recipients) =>
  (rules: EscalationFunctions): EscalationFunctions => ({
    ...rules,
    handleEvent: (escalation, event, of, recipients, now) =>
      rules.handleEvent(escalation, event, of, change(recipients), now),
    advance: (escalation, recipients, now) => rules.advance(escalation, change(recipients), now),
  });
const mapPeople = (change: (person: Recipient) => Recipient) =>
  mapRecipients((recipients) => ({ ...recipients, people: recipients.people.map(change) }));
const mapEscalation = (change: (escalation: Escalation, before: Escalation | null) => Escalation) =>
  mapStep((step, before) => ({ ...step, escalation: step.escalation && change(step.escalation, before) }));
const ignoring =
  (...kinds: AlarmEvent["kind"][]) =>
  (rules: EscalationFunctions): EscalationFunctions => ({
    ...rules,
    handleEvent: (escalation, event, of, recipients, now) => {
      if (!kinds.includes(event.kind)) return rules.handleEvent(escalation, event, of, recipients, now);
      return escalation
        ? rules.advance(escalation, recipients, now)
        : { escalation: escalation, notifications: [], nextAt: null };
    },
  });

export const plantedBugs: Readonly<Record<string, (rules: EscalationFunctions) => EscalationFunctions>> = {
  "quiet hours are ignored": mapPeople((person) => ({ ...person, quietHours: null })),
  "urgent breaks everybody's quiet hours": mapPeople((person) => ({ ...person, urgentBreaks: true })),
  "quiet hours are taken for UTC": mapRecipients((recipients) => ({ ...recipients, zone: "UTC" })),
  "who sleeps is passed for good": mapRecipients((recipients) => ({
    ...recipients,
    people: recipients.people.filter(({ quietHours, urgentBreaks }) => quietHours === null || urgentBreaks),
  })),
  "nobody is remembered as notified": mapEscalation((escalation) => ({ ...escalation, recipientStates: [] })),
  "each notification counts as the first": mapEscalation((escalation) => ({
    ...escalation,
    recipientStates: escalation.recipientStates.map((one) => ({
      ...one,
      timesNotified: Math.min(one.timesNotified, 1),
    })),
  })),
  "a gap counts from the first notification": mapEscalation((escalation) => ({
    ...escalation,
    recipientStates: escalation.recipientStates.map((one) => ({ ...one, reminderCountedFrom: one.firstNotifiedAt })),
  })),
  "levels go on after a minute": mapRecipients((recipients) => ({ ...recipients, escalateAfter: minutes(1) })),
  "all are of the first level": mapPeople((person) => ({ ...person, escalationOrder: 1 })),
  "nothing is taken off the screens": mapStep((step) => ({
    ...step,
    notifications: step.notifications.filter(({ content }) => !content.isClosing),
  })),
  "levels never go on": mapRecipients((recipients) => ({ ...recipients, escalateAfter: days(3_650) })),
  "the last level is forgotten": mapRecipients((recipients) => ({
    ...recipients,
    people: recipients.people.filter(
      ({ escalationOrder }) => escalationOrder < 3 || recipients.people.every((one) => one.escalationOrder === 3),
    ),
  })),
  "only one of a level is notified": mapRecipients((recipients) => ({
    ...recipients,
    people: recipients.people.filter(
      ({ escalationOrder }, n) => recipients.people.findIndex((one) => one.escalationOrder === escalationOrder) === n,
    ),
  })),
  "mail is never tried": mapPeople((person) => ({ ...person, email: null })),
  "a push counts as shown": mapEscalation((escalation) => ({
    ...escalation,
    recipientStates: escalation.recipientStates.map((one) => ({ ...one, displayedAt: one.pushedAt })),
  })),
  "an email goes with each notification": mapStep((step) => ({
    ...step,
    notifications: step.notifications.flatMap((one) => [one, { ...one, channel: "email" as const }]),
  })),
  "an email isn't remembered": mapEscalation((escalation) => ({
    ...escalation,
    recipientStates: escalation.recipientStates.map((one) => ({ ...one, emailedAt: null })),
  })),
  "an acknowledgement is ignored": ignoring("acknowledged"),
  "a return is ignored": ignoring("returned"),
  "setting aside is ignored": ignoring("suppressed"),
  "good news goes to everybody": (rules) => ({
    ...rules,
    handleEvent: (escalation, event, of, recipients, now) => {
      const step = rules.handleEvent(escalation, event, of, recipients, now);
      const [first] = step.notifications;
      if (event.kind !== "returned" || !first) return step;
      const phones = recipients.people.filter((person) => person.phoneCount > 0);
      return { ...step, notifications: phones.map(({ id }) => ({ ...first, person: id, channel: "push" as const })) };
    },
  }),
  "what comes right back pushes again": (rules) => ({
    ...rules,
    handleEvent: (escalation, event, of, recipients, now) => {
      const loud = event.kind === "raised" ? { ...event, sameEpisode: false } : event;
      return rules.handleEvent(escalation, loud, of, recipients, now);
    },
  }),
  "what grows more urgent pushes nobody": ignoring("worsened"),
  "a look is forgotten": mapStep((step) => ({ ...step, nextAt: null })),
  "an escalation is forgotten once it has notified": mapStep((step) =>
    step.notifications.length > 0 ? { ...step, escalation: null } : step,
  ),
};
