import { describe, expect, it } from "vitest";
import { after, before, instantOf, minutes } from "../../../server/domain/instant.ts";
import { hasNewAddress, hasNewPhone, isUndelivered } from "../../../server/domain/notification/deliveryLoss.ts";
import type { Escalation, Recipient, RecipientState } from "../../../server/domain/notification/escalation.ts";
import { ada } from "./escalationScenario.ts";

const now = instantOf("2026-12-01T11:00:00Z");
const ago = (count: number) => before(now, minutes(count));
const escalation = { renewedAt: ago(10) } as Escalation;
const stateWith = (more: Partial<RecipientState>): RecipientState => ({
  ...{
    person: "ada",
    timesNotified: 1,
    firstNotifiedAt: ago(9),
    lastNotifiedAt: ago(9),
    reminderCountedFrom: ago(9),
    awaitsEndNews: false,
  },
  ...{ pushedAt: null, displayedAt: null, emailedAt: null },
  ...more,
});

describe("what was sent to somebody", () => {
  const push = { pushedAt: ago(9) };
  const pushLost = { ...push, pushLostAt: ago(8) };
  const mail = { emailedAt: ago(7) };
  const mailLost = { ...mail, emailLostAt: ago(6) };

  it.each<[string, Partial<RecipientState>, boolean]>([
    ["nothing was sent", {}, false],
    ["a push is on its way", push, false],
    ["the only push reached nothing", pushLost, true],
    ["the only email was refused", mailLost, true],
    ["the push reached nothing, and an email may have", { ...pushLost, ...mail }, false],
    ["the email was refused, and a push may have come", { ...mailLost, ...push }, false],
    ["both reached nothing", { ...pushLost, ...mailLost }, true],
    ["a phone has shown this alarm all the same", { ...pushLost, displayedAt: ago(9) }, false],
    ["a phone has shown what was milder, before it", { ...pushLost, displayedAt: ago(11) }, true],
  ])("is known to have reached nothing only where all of it did: %s", (_, more, lost) => {
    expect(isUndelivered(escalation, stateWith(more))).toBe(lost);
  });
});

describe("a phone", () => {
  const since = (minutesAgo: number, more: Partial<Recipient> = {}): Recipient => ({
    ...ada,
    phonesSince: ago(minutesAgo),
    ...more,
  });

  it.each<[string, Recipient, Partial<RecipientState>, boolean]>([
    ["added after the last push", since(3), { pushedAt: ago(4) }, true],
    ["added before it", since(5), { pushedAt: ago(4) }, false],
    ["added where no push was sent", since(5), {}, true],
    ["of nobody knows when", { ...ada }, { pushedAt: ago(4) }, false],
    ["that is gone again", since(3, { phoneCount: 0 }), { pushedAt: ago(4) }, false],
    ["added now", since(0), { pushedAt: ago(4) }, true],
    ["from the future, by a clock that was set back", since(-1), { pushedAt: ago(4) }, false],
    ["beside one that has shown this alarm", since(3), { pushedAt: ago(4), displayedAt: ago(4) }, false],
  ])("is new to an escalation where it can show what none has shown: %s", (_, person, more, isNew) => {
    expect(hasNewPhone(escalation, person, stateWith(more), now)).toBe(isNew);
  });
});

describe("an address", () => {
  it("is new to an escalation where it was given after the email was sent, and not in the future", () => {
    const given = (at: Recipient["emailSince"], mailedAt: RecipientState["emailedAt"]) =>
      hasNewAddress(
        { ...ada, ...(at === undefined ? {} : { emailSince: at }) },
        stateWith({ emailedAt: mailedAt }),
        now,
      );
    expect(given(ago(3), ago(4))).toBe(true);
    expect(given(ago(4), ago(4))).toBe(false);
    expect(given(ago(3), null)).toBe(false);
    expect(given(null, ago(4))).toBe(false);
    expect(given(undefined, ago(4))).toBe(false);
    expect(given(after(now, minutes(1)), ago(4))).toBe(false);
  });
});
