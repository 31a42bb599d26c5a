import { describe, expect, it } from "vitest";
import { type FaultKind, ruleOf } from "../../../server/domain/faults.ts";
import { after, days, hours, instantOf, minutes } from "../../../server/domain/instant.ts";
import { advanceEscalation, recordDisplay } from "../../../server/domain/notification/advanceEscalation.ts";
import { type DeliveryLoss, recordLoss } from "../../../server/domain/notification/deliveryLoss.ts";
import type { Escalation, RecipientState } from "../../../server/domain/notification/escalation.ts";
import {
  alarmTimeToLive,
  closingTimeToLive,
  displayExpectedWithin,
  forgetAfterEnd,
  isEmailReminder,
  reminderGap,
} from "../../../server/domain/notification/intervals.ts";
import {
  acknowledgedNews,
  alarmContent,
  correctionContent,
  suppressedNews,
} from "../../../server/domain/notification/notificationContent.ts";
import { escalationFixture, recipientStateFixture } from "./escalationFixture.ts";
import { ada, bo, cilla, EscalationScenario, recipientsOf, stockholm } from "./escalationScenario.ts";

const now = instantOf("2026-12-01T12:00:00Z");
const ago = (count: number) => after(now, minutes(-count));
const night = { quietHours: { from: "22:00", to: "07:00" }, urgentBreaks: false };

describe("an escalation that could notify nobody yet", () => {
  it("is checked again when quiet hours end or somebody else can be notified, never at a moment that has passed", () => {
    const asleep = [
      { ...ada, quietHours: { from: "08:00", to: "20:00" }, urgentBreaks: false },
      { ...bo, quietHours: { from: "08:00", to: "20:00" } },
    ];
    const waiting = escalationFixture({ level: 0, levelAt: ago(60), raisedAt: ago(60), renewedAt: ago(60) });
    const { notifications, nextAt } = advanceEscalation(waiting, recipientsOf(asleep), now);
    expect(notifications).toEqual([]);
    expect(nextAt).toBe(after(now, minutes(15)));
  });
});

describe("a display receipt", () => {
  const withState = (state: Partial<RecipientState>): Escalation =>
    escalationFixture({ recipientStates: [recipientStateFixture(state), recipientStateFixture({ person: "bo" })] });

  it("counts for the person whose phone sent it, at its latest", () => {
    const displayedAt = (state: Partial<RecipientState>) =>
      recordDisplay(withState(state), "ada", now).recipientStates.map((one) => one.displayedAt);
    expect(displayedAt({ pushedAt: ago(9) })).toEqual([now, null]);
    expect(displayedAt({ pushedAt: ago(9), displayedAt: ago(5) })).toEqual([now, null]);
    expect(displayedAt({ pushedAt: ago(9), displayedAt: after(now, minutes(1)) })).toEqual([
      after(now, minutes(1)),
      null,
    ]);
  });

  it("proves nothing of an alarm that no push was sent of", () => {
    expect(recordDisplay(withState({ emailedAt: ago(9) }), "ada", now)).toEqual(withState({ emailedAt: ago(9) }));
  });
});

describe("a delivery that failed for good", () => {
  const lossOf = (different: Partial<DeliveryLoss>): DeliveryLoss => ({
    ...{ person: "ada", channel: "push", newestSentAt: null, ...different },
  });
  const sent = { pushedAt: ago(9), emailedAt: ago(4) };
  const escalation = (different: Partial<Escalation> = {}): Escalation =>
    escalationFixture({ recipientStates: [recipientStateFixture(sent)], ...different });
  const losses = (loss: DeliveryLoss, of = escalation()) => {
    const [state] = recordLoss(of, loss, now).recipientStates;
    return [state?.pushLostAt ?? null, state?.emailLostAt ?? null];
  };

  it("marks the last notification of its channel as lost", () => {
    expect(losses(lossOf({}))).toEqual([now, null]);
    expect(losses(lossOf({ channel: "email" }))).toEqual([null, now]);
  });

  it("marks nothing while a notification at least as new may still arrive by the same channel", () => {
    expect(losses(lossOf({ newestSentAt: ago(9) }))).toEqual([null, null]);
    expect(losses(lossOf({ newestSentAt: ago(8) }))).toEqual([null, null]);
    expect(losses(lossOf({ newestSentAt: ago(10) }))).toEqual([now, null]);
    expect(losses(lossOf({ channel: "email", newestSentAt: ago(8) }))).toEqual([null, now]);
  });

  it("is of no interest once the alarm is acknowledged or has ended, nor for people or channels without a notification", () => {
    const nothing = (of: Escalation, loss: DeliveryLoss) => expect(recordLoss(of, loss, now)).toBe(of);
    nothing(escalation({ acknowledgedBy: "Ada" }), lossOf({}));
    nothing(escalation({ endedAt: ago(1) }), lossOf({}));
    nothing(escalation(), lossOf({ person: "bo" }));
    nothing(
      escalation({ recipientStates: [recipientStateFixture({ pushedAt: ago(1) })] }),
      lossOf({ channel: "email" }),
    );
    nothing(escalation({ recipientStates: [recipientStateFixture({ emailedAt: ago(1) })] }), lossOf({}));
  });

  it("changes only that person's state", () => {
    const both = escalation({
      recipientStates: [recipientStateFixture({ ...sent, person: "bo" }), recipientStateFixture(sent)],
    });
    expect(recordLoss(both, lossOf({}), now).recipientStates.map(({ pushLostAt }) => pushLostAt ?? null)).toEqual([
      ...[null, now],
    ]);
  });
});

describe("a phone that is added during an escalation", () => {
  const story = () => new EscalationScenario(recipientsOf([ada]), "2026-12-01 10:00").raised();
  const phonesAfter = ({ notified }: EscalationScenario) =>
    notified.map(({ notification }) => notification.phonesAfter ?? null);

  it("gets the alarm alone: the other phones of that person have it", () => {
    const added = story();
    added.joins([{ ...ada, phoneCount: 2, phonesSince: added.local("2026-12-01 10:02") }]).offUntil("2026-12-01 10:02");
    expect(added.sentSince()).toEqual(["10:00 ada push Rowan: hopper empty", "10:02 ada push Rowan: hopper empty"]);
    expect(phonesAfter(added)).toEqual([null, added.local("2026-12-01 10:00")]);
    added.shown("ada").until("2026-12-01 10:40");
    expect(added.sentSince()).toEqual(["10:32 ada push Rowan: hopper empty"]);
    expect(phonesAfter(added).at(-1)).toBeNull(); // a reminder goes to all phones
  });

  it("is the first of that person: then there is nothing to leave out", () => {
    const first = new EscalationScenario(recipientsOf([{ ...ada, phoneCount: 0 }]), "2026-12-01 10:00").raised();
    first.joins([{ ...ada, phonesSince: first.local("2026-12-01 10:02") }]).offUntil("2026-12-01 10:02");
    expect(first.sentSince()).toEqual(["10:00 ada email Rowan: hopper empty", "10:02 ada push Rowan: hopper empty"]);
    expect(phonesAfter(first)).toEqual([null, null]);
  });
});

describe("a level", () => {
  it("is reached by whoever was notified, also when their quiet hours begin meanwhile", () => {
    const people = recipientsOf([
      { ...ada, ...night },
      { ...cilla, escalationOrder: 2 },
    ]);
    const story = new EscalationScenario(people, "2026-12-01 21:58").raised().shown("ada").offUntil("2026-12-01 22:05");
    expect(story.sentSince()).toEqual(["21:58 ada push Rowan: hopper empty"]);
    story.until("2026-12-01 22:13");
    expect(story.sentSince()).toEqual(["22:13 cilla email Rowan: hopper empty"]);
  });

  it("is shared by people of one order, who are all notified at once, by their ids", () => {
    const [first, second, third] = ["c", "a", "b"].map((id) => ({ ...ada, id, escalationOrder: 1 }));
    const people = [first, second, third].flatMap((one) => one ?? []);
    const later = { ...bo, id: "0", ...{ quietHours: null, escalationOrder: 2 } };
    const story = new EscalationScenario(recipientsOf([later, ...people]), "2026-12-01 10:00").raised();
    expect(story.sentSince().map((line) => line.split(" ")[1])).toEqual(["a", "b", "c"]);
  });

  it("isn't followed by another one where the alarm may wait a day", () => {
    const story = new EscalationScenario(recipientsOf([ada, cilla]), "2026-12-01 10:00", "foodLow").raised("soon");
    story.shown("ada").until("2026-12-02 09:59");
    expect(story.sentSince()).toEqual(["10:00 ada push Rowan: hopper empty"]);
    expect(story.nextAt).toBe(story.local("2026-12-02 10:00"));
  });
});

describe("a reminder", () => {
  it("states how long the alarm has been active, which the first notification doesn't", () => {
    const story = new EscalationScenario(recipientsOf([ada]), "2026-12-01 10:00").raised().shown("ada");
    story.until("2026-12-01 10:30");
    expect(story.notified.map(({ notification }) => notification.content.body)).toEqual([
      "Nothing fell.",
      "Still active after 30 minutes, not acknowledged. Nothing fell.",
    ]);
  });
});

describe("a recipient who leaves the yard", () => {
  it("gets nothing more, neither reminder nor end", () => {
    const people = [ada, { ...bo, escalationOrder: 1, quietHours: null }];
    const story = new EscalationScenario(recipientsOf(people), "2026-12-01 10:00").raised().shown("ada").shown("bo");
    story.sentSince();
    story.joins([ada]).until("2026-12-01 10:40").returned();
    expect(story.sentSince()).toEqual([
      "10:30 ada push Rowan: hopper empty",
      "10:40 ada push softly Rowan: back to normal",
    ]);
  });
});

describe("the news of the end", () => {
  it("goes by e-mail too where the e-mail is newer than what a phone displayed", () => {
    const story = new EscalationScenario(recipientsOf([ada]), "2026-12-01 10:00").raised().shown("ada");
    story.until("2026-12-01 13:40").sentSince(); // 13:30: the third reminder, by e-mail too
    story.returned();
    expect(story.sentSince()).toEqual([
      "13:40 ada push softly Rowan: back to normal",
      "13:40 ada email softly Rowan: back to normal",
    ]);
  });

  it("goes by push alone where a phone displayed it after the e-mail", () => {
    const story = new EscalationScenario(recipientsOf([ada]), "2026-12-01 10:00").raised().until("2026-12-01 10:06");
    story.shown("ada").until("2026-12-01 10:10").sentSince();
    story.returned();
    expect(story.sentSince()).toEqual(["10:10 ada push softly Rowan: back to normal"]);
  });

  it("isn't sent to an address that was removed meanwhile", () => {
    const story = new EscalationScenario(recipientsOf([cilla]), "2026-12-01 10:00").raised();
    story
      .joins([{ ...cilla, email: null }])
      .until("2026-12-01 10:10")
      .returned();
    expect(story.sentSince()).toEqual(["10:00 cilla email Rowan: hopper empty"]);
  });

  it("is not followed by a second e-mail where an alarm that may wait a day is back within the hour", () => {
    const story = new EscalationScenario(recipientsOf([cilla]), "2026-12-01 10:00", "foodLow").raised("soon");
    story.until("2026-12-01 12:00").returned().until("2026-12-01 12:20").raised("soon", true).until("2026-12-02 09:00");
    expect(story.sentSince()).toEqual(["10:00 cilla email Rowan: hopper empty"]);
  });

  it("leaves the escalation known for 65 minutes, so that an alarm that is back within the hour finds it", () => {
    const story = new EscalationScenario(recipientsOf([ada]), "2026-12-01 10:00").raised().shown("ada").returned();
    expect(story.nextAt).toBe(story.local("2026-12-01 11:05"));
    story.until("2026-12-01 11:04");
    expect(story.escalation).not.toBeNull();
    story.until("2026-12-01 11:05");
    expect(story.escalation).toBeNull();
  });
});

describe("the times of notification", () => {
  it("grow from reminder to reminder, and the last gap repeats", () => {
    const gaps = (priority: "urgent" | "soon") =>
      [1, 2, 3, 4, 5, 6, 7, 99].map((times) => reminderGap(priority, times));
    expect(gaps("urgent")).toEqual([minutes(30), ...[1, 2, 4, 8, 12, 12, 12].map(hours)]);
    expect(gaps("soon")).toEqual([24, 48, 72, 72, 72, 72, 72, 72].map(hours));
  });

  it("send each third reminder by e-mail", () => {
    expect([1, 2, 3, 4, 5, 6].filter(isEmailReminder)).toEqual([3, 6]);
  });

  it("outlast the gap that follows: a reminder replaces a push before that expires", () => {
    expect(alarmTimeToLive).toEqual({ urgent: hours(12), soon: hours(24) });
    expect(displayExpectedWithin).toEqual({ urgent: minutes(5), soon: minutes(30) });
    expect(closingTimeToLive).toBe(days(3));
    expect(forgetAfterEnd).toBeGreaterThan(hours(1)); // the same episode within the hour
  });
});

describe("the text of an alarm's notification", () => {
  const body = (different: Partial<Escalation>, reminder = false) =>
    alarmContent(escalationFixture({ body: "Nothing fell.", ...different }), reminder, stockholm, now).body;

  it("names the time only where the text would be misread without it", () => {
    expect(body({ renewedAt: now })).toBe("Nothing fell.");
    expect(body({ renewedAt: ago(4) })).toBe("Nothing fell.");
    expect(body({ renewedAt: ago(5) })).toBe("Since today 12:55. Nothing fell.");
  });

  it("names how long nobody has acknowledged it, from the first notification that may have arrived", () => {
    const notified = recipientStateFixture({ timesNotified: 1, firstNotifiedAt: ago(20), pushedAt: ago(20) });
    const lost = recipientStateFixture({ ...notified, person: "bo", firstNotifiedAt: ago(40), pushLostAt: ago(39) });
    const only = (...recipientStates: RecipientState[]) => body({ renewedAt: ago(50), recipientStates });
    expect(only(notified)).toBe("Not acknowledged for 20 minutes. Nothing fell.");
    expect(only(lost, notified)).toBe("Not acknowledged for 20 minutes. Nothing fell.");
    expect(only({ ...lost, pushLostAt: null }, notified)).toBe("Not acknowledged for 40 minutes. Nothing fell.");
    expect(only(lost)).toBe("Since today 12:10. Nothing fell.");
    expect(only({ ...notified, timesNotified: 0 })).toBe("Since today 12:10. Nothing fell.");
    // It became more urgent after that: nobody could acknowledge the urgent one before.
    expect(body({ renewedAt: ago(10), recipientStates: [notified] })).toBe(
      "Not acknowledged for 10 minutes. Nothing fell.",
    );
  });

  it("has the time since its raise in a reminder", () => {
    expect(body({ renewedAt: ago(30) }, true)).toBe("Still active after 30 minutes, not acknowledged. Nothing fell.");
  });

  it("names the other feeders that it covers: three at most", () => {
    const also = (...alsoFeeders: string[]) => correctionContent(escalationFixture({ body: "Ice.", alsoFeeders })).body;
    expect(also()).toBe("Ice.");
    expect(also("Larch")).toBe("Ice. Also at Larch.");
    expect(also("Larch", "Elder")).toBe("Ice. Also at Larch and Elder.");
    expect(also("Larch", "Elder", "Hazel")).toBe("Ice. Also at Larch, Elder and Hazel.");
    expect(also("Larch", "Elder", "Hazel", "Willow")).toBe("Ice. Also at Larch, Elder and 2 more.");
  });

  it("offers a pause only where birds would press in vain, and the feeder can get it", () => {
    const actions = (fault: FaultKind, different: Partial<Escalation> = {}) =>
      correctionContent(escalationFixture({ fault, ...different })).actions;
    const inVain = ["motorNotTurning", "motorStalled", "foodOut", "trayJammed", "feedBridged", "feedStopped"] as const;
    for (const fault of [...inVain, "depositUnpaid"] as const) expect(actions(fault)).toEqual(["acknowledge", "pause"]);
    for (const fault of ["feederSilent", "foodLow", "iceLock"] as const)
      expect(actions(fault)).toEqual(["acknowledge"]);
    expect(actions("foodOut", { feeder: null })).toEqual(["acknowledge"]);
    expect(actions("foodOut", { acknowledgedBy: "Ada" })).toEqual([]);
  });

  it("states by whom it was acknowledged, with the fault's own title where the alarm's has no subject", () => {
    const title = (different: Partial<Escalation>) => acknowledgedNews(escalationFixture(different), "Ada").title;
    expect(title({ subjectName: "Rowan", title: "Rowan: hopper empty" })).toBe(
      "Acknowledged by Ada: hopper empty at Rowan",
    );
    expect(title({ subjectName: "Rowan", title: "Empty", fault: "foodOut" })).toBe(
      `Acknowledged by Ada: ${ruleOf("foodOut").title} at Rowan`,
    );
  });

  it("gives the reason of a suppression, without a gap where there is none", () => {
    const text = (reason: string) => suppressedNews(escalationFixture({ subjectName: "Rowan" }), reason).body;
    expect(text("Shelved until 18:00.")).toBe("Shelved until 18:00. You need to do nothing for now.");
    expect(text("")).toBe("You need to do nothing for now.");
  });
});
