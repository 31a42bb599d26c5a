import { describe, expect, it } from "vitest";
import { days, hours } from "../../../server/domain/instant.ts";
import { ada, bo, cilla, EscalationScenario, recipientsOf } from "./escalationScenario.ts";

const croft = recipientsOf([ada, bo, cilla]);

describe("an urgent escalation", () => {
  it("pushes level by level until somebody answers, and reminds with growing gaps", () => {
    const story = new EscalationScenario(croft, "2026-12-01 10:00").raised().shown("ada");
    expect(story.sentSince()).toEqual(["10:00 ada push Rowan: hopper empty"]);
    story.until("2026-12-01 10:30");
    expect(story.sentSince()).toEqual([
      "10:15 bo push Rowan: hopper empty",
      "10:20 bo email Rowan: hopper empty", // no phone of his has shown it
      "10:30 ada push Rowan: hopper empty", // first reminder
      "10:30 cilla email Rowan: hopper empty",
    ]);
    story.until("2026-12-01 21:00");
    expect(story.sentSince()).toEqual([
      "10:45 bo push Rowan: hopper empty",
      "11:30 ada push Rowan: hopper empty",
      "11:45 bo push Rowan: hopper empty",
      "13:30 ada push Rowan: hopper empty",
      "13:30 ada email Rowan: hopper empty", // the third reminder, and the one before wasn't shown
      "13:45 bo push Rowan: hopper empty",
      "13:45 bo email Rowan: hopper empty",
      "14:00 cilla email Rowan: hopper empty", // her third
      "17:30 ada push Rowan: hopper empty",
      "17:45 bo push Rowan: hopper empty",
    ]);
    story.until("2026-12-02 14:00");
    expect(story.sentSince()).toEqual([
      "02. 01:30 ada push Rowan: hopper empty",
      "02. 07:00 bo push Rowan: hopper empty", // due at 01:45, and he sleeps
      "02. 13:30 ada push Rowan: hopper empty",
      "02. 13:30 ada email Rowan: hopper empty",
      "02. 14:00 cilla email Rowan: hopper empty", // her sixth
    ]);
  });

  it("passes who sleeps at once, and tells him in the morning if it still stands", () => {
    const story = new EscalationScenario(
      recipientsOf([bo, { ...ada, escalationOrder: 3 }]),
      "2026-12-01 23:00",
    ).raised();
    expect(story.sentSince()).toEqual(["23:00 ada push Rowan: hopper empty"]);
    story.shown("ada").until("2026-12-02 06:59");
    expect(story.sentSince().every((line) => line.includes("ada"))).toBe(true);
    story.until("2026-12-02 07:00");
    expect(story.sentSince()).toEqual(["02. 07:00 bo push Rowan: hopper empty"]);
    expect(story.notified.at(-1)?.notification.content.body).toBe("Not acknowledged for 8 hours. Nothing fell.");
  });

  it("pushes at night where the person allows it, and waits where not", () => {
    const wakeable = { ...bo, escalationOrder: 1, urgentBreaks: true };
    expect(new EscalationScenario(recipientsOf([wakeable]), "2026-12-01 03:00").raised().sentSince()).toHaveLength(1);
    const still = new EscalationScenario(recipientsOf([{ ...bo, escalationOrder: 1 }]), "2026-12-01 03:00").raised();
    expect(still.sentSince()).toEqual([]);
    expect(still.escalation?.unreachable).toBe(true); // nobody can be notified now, and the screen must show it
    still.until("2026-12-01 07:00");
    expect(still.sentSince()).toEqual(["07:00 bo push Rowan: hopper empty"]);
    expect(still.notified[0]?.notification.content.body).toBe("Since today 03:00. Nothing fell.");
    expect(still.escalation?.unreachable).toBe(false);
  });

  it("begins with the first level in the morning where all of them slept", () => {
    const night = { quietHours: bo.quietHours, urgentBreaks: false };
    const story = new EscalationScenario(recipientsOf([{ ...ada, ...night }, bo]), "2026-12-01 23:00").raised();
    story.until("2026-12-02 07:00").shown("ada").until("2026-12-02 07:16");
    expect(story.sentSince()).toEqual(["07:00 ada push Rowan: hopper empty", "07:15 bo push Rowan: hopper empty"]);
  });

  it("states that nobody can be notified, and notifies whoever can be from that moment on", () => {
    const nobody = { ...ada, phoneCount: 0, email: null };
    const story = new EscalationScenario(recipientsOf([nobody]), "2026-12-01 10:00").raised();
    expect(story.escalation?.unreachable).toBe(true);
    story.joins([ada]).until("2026-12-01 10:15");
    expect(story.sentSince()).toEqual(["10:15 ada push Rowan: hopper empty"]);
    expect(story.escalation?.unreachable).toBe(false);
  });

  it("passes a level without phone and mail at once", () => {
    const story = new EscalationScenario(
      recipientsOf([{ ...ada, phoneCount: 0, email: null }, { ...bo }]),
      "2026-12-01 10:00",
    ).raised();
    expect(story.sentSince()).toEqual(["10:00 bo push Rowan: hopper empty"]);
  });

  it("mails who has no phone, and who lost it before a phone showed anything", () => {
    const story = new EscalationScenario(recipientsOf([ada]), "2026-12-01 10:00").raised();
    story.joins([{ ...ada, phoneCount: 0 }]).offUntil("2026-12-01 10:02");
    expect(story.sentSince()).toEqual(["10:00 ada push Rowan: hopper empty", "10:02 ada email Rowan: hopper empty"]);
  });

  it("spares the mail where a phone has shown it", () => {
    const story = new EscalationScenario(recipientsOf([ada]), "2026-12-01 10:00")
      .raised()
      .shown("ada")
      .until("2026-12-01 10:29");
    expect(story.sentSince()).toEqual(["10:00 ada push Rowan: hopper empty"]);
  });

  it("makes up for a server that was down with one notification a person", () => {
    const story = new EscalationScenario(croft, "2026-12-01 10:00").raised().shown("ada").offUntil("2026-12-01 17:00");
    expect(story.sentSince()).toEqual([
      "10:00 ada push Rowan: hopper empty",
      "17:00 ada push Rowan: hopper empty",
      "17:00 bo push Rowan: hopper empty",
    ]);
    story.until("2026-12-01 17:20");
    expect(story.sentSince()).toEqual(["17:05 bo email Rowan: hopper empty", "17:15 cilla email Rowan: hopper empty"]);
  });

  it("carries its moment, its answers and its life", () => {
    const [first] = new EscalationScenario(croft, "2026-12-01 10:00").raised().notified;
    expect(first?.notification).toMatchObject({ yard: "alder", feeder: "rowan" });
    expect(first?.notification.content).toMatchObject({
      raisedAt: first?.at,
      actions: ["acknowledge", "pause"],
      timeToLive: hours(12),
      silent: false,
    });
    const [sensor] = new EscalationScenario(croft, "2026-12-01 10:00", "buttonSilent").raised("soon").notified;
    expect(sensor?.notification.content).toMatchObject({ actions: ["acknowledge"], timeToLive: hours(24) });
    const [silent] = new EscalationScenario(croft, "2026-12-01 10:00", "feederSilent").raised().notified;
    expect(silent?.notification.content.actions).toEqual(["acknowledge"]); // no pause can reach it
  });
});

describe("an escalation about something that may wait a day", () => {
  it("goes to the first level alone, and reminds after one, two and three days", () => {
    const story = new EscalationScenario(croft, "2026-12-01 10:00", "foodLow").raised("soon").shown("ada");
    story.until("2026-12-10 10:00");
    expect(story.sentSince()).toEqual([
      "10:00 ada push Rowan: hopper empty",
      "02. 10:00 ada push Rowan: hopper empty",
      "04. 10:00 ada push Rowan: hopper empty",
      "07. 10:00 ada push Rowan: hopper empty",
      "07. 10:00 ada email Rowan: hopper empty",
      "10. 10:00 ada push Rowan: hopper empty",
    ]);
  });

  it("waits for the end of quiet hours, also where urgent ones needn't, and is dropped if it is over by then", () => {
    const sleeper = { ...ada, quietHours: { from: "22:00", to: "07:00" } };
    const story = new EscalationScenario(recipientsOf([sleeper, cilla]), "2026-12-01 23:00", "foodLow").raised("soon");
    expect(story.escalation?.unreachable).toBe(false);
    story.until("2026-12-02 07:00");
    expect(story.sentSince()).toEqual(["07:00 ada push Rowan: hopper empty"]);
    const over = new EscalationScenario(recipientsOf([sleeper]), "2026-12-01 23:00", "foodLow").raised("soon");
    over.until("2026-12-02 05:00").returned().until("2026-12-03 10:00");
    expect(over.sentSince()).toEqual([]);
    expect(over.escalation).toBeNull();
  });

  it("goes to the next level where nobody of the first has phone or mail", () => {
    const story = new EscalationScenario(
      recipientsOf([{ ...ada, phoneCount: 0, email: null }, cilla]),
      "2026-12-01 10:00",
    ).raised("soon");
    expect(story.sentSince()).toEqual(["10:00 cilla email Rowan: hopper empty"]);
  });

  it("is mailed after half an hour unless a phone has shown it", () => {
    const story = new EscalationScenario(croft, "2026-12-01 10:00", "foodLow").raised("soon").until("2026-12-01 12:00");
    expect(story.sentSince()).toEqual(["10:00 ada push Rowan: hopper empty", "10:30 ada email Rowan: hopper empty"]);
  });
});

describe("an answer", () => {
  it("stops levels and reminders, and takes the alarm off the others' screens without a sound", () => {
    const story = new EscalationScenario(croft, "2026-12-01 10:00").raised().shown("ada").until("2026-12-01 10:17");
    story.sentSince();
    story.acknowledged("Ada").until("2026-12-09 10:00");
    expect(story.sentSince()).toEqual(["10:17 bo push softly Acknowledged by Ada: hopper empty at Rowan"]);
    expect(story.notified.at(-1)?.notification.content).toMatchObject({
      isClosing: true,
      silent: true,
      timeToLive: days(3),
    });
    expect(story.escalation?.acknowledgedBy).toBe("Ada");
  });

  it("is followed by quiet good news for all who were notified, and by nothing for the others", () => {
    const story = new EscalationScenario(croft, "2026-12-01 10:00").raised().shown("ada").until("2026-12-01 10:17");
    story.acknowledged("Bo").sentSince();
    story.until("2026-12-01 12:00").returned().until("2026-12-05 12:00");
    expect(story.sentSince()).toEqual([
      "12:00 ada push softly Rowan: back to normal",
      "12:00 bo push softly Rowan: back to normal",
    ]);
    expect(story.escalation).toBeNull();
  });

  it("reaches by e-mail whoever had only an e-mail, and not in the middle of the night", () => {
    const gotEmail = { ...bo, escalationOrder: 1, phoneCount: 0 };
    const story = new EscalationScenario(
      recipientsOf([gotEmail, { ...ada, escalationOrder: 1 }]),
      "2026-12-01 21:58",
    ).raised();
    story.shown("ada").until("2026-12-01 22:10").acknowledged("Ada").until("2026-12-02 08:00").returned();
    expect(story.sentSince()).toEqual([
      "21:58 ada push Rowan: hopper empty",
      "21:58 bo email Rowan: hopper empty",
      "02. 07:00 bo email softly Acknowledged by Ada: hopper empty at Rowan",
      "02. 08:00 ada push softly Rowan: back to normal",
      "02. 08:00 bo email softly Rowan: back to normal",
    ]);
  });

  it("spares a second email where the matter could wait a day", () => {
    const story = new EscalationScenario(recipientsOf([cilla]), "2026-12-01 10:00", "foodLow").raised("soon");
    story.until("2026-12-01 12:00").returned().until("2026-12-03 10:00");
    expect(story.sentSince()).toEqual(["10:00 cilla email Rowan: hopper empty"]);
  });
});

describe("an alarm that is suppressed", () => {
  it("is removed from the screens, and nobody else is notified", () => {
    const story = new EscalationScenario(croft, "2026-12-01 10:00")
      .raised()
      .shown("ada")
      .until("2026-12-01 10:05")
      .suppressed();
    story.until("2026-12-03 10:00");
    expect(story.sentSince()).toEqual([
      "10:00 ada push Rowan: hopper empty",
      "10:05 ada push softly Rowan: no action needed",
    ]);
    expect(story.notified.at(-1)?.notification.content.isClosing).toBe(true);
  });
});

describe("an alarm that grows more urgent", () => {
  it("pushes again from the first level on, acknowledged or not", () => {
    const story = new EscalationScenario(croft, "2026-12-01 10:00").raised("soon").shown("ada").acknowledged("Ada");
    story.sentSince();
    story.until("2026-12-01 14:00").worsened().until("2026-12-01 14:16");
    expect(story.sentSince()).toEqual([
      "14:00 ada push Rowan: hopper empty",
      "14:05 ada email Rowan: hopper empty", // the screen of ten o'clock proved nothing about this
      "14:15 bo push Rowan: hopper empty",
    ]);
  });

  it("sets the other screens right without a sound until it is their level", () => {
    const story = new EscalationScenario(croft, "2026-12-01 10:00")
      .raised()
      .shown("ada")
      .until("2026-12-01 10:16")
      .shown("bo");
    story.sentSince();
    story.until("2026-12-01 10:20").worsened().shown("ada").until("2026-12-01 10:36");
    expect(story.sentSince()).toEqual([
      "10:20 ada push Rowan: hopper empty",
      "10:20 bo push softly Rowan: hopper empty",
      "10:35 bo push Rowan: hopper empty",
    ]);
  });
});

describe("an alarm that is back within the hour", () => {
  it("corrects the screens without a sound, and goes on from where it stood", () => {
    const story = new EscalationScenario(croft, "2026-12-01 10:00")
      .raised()
      .shown("ada")
      .until("2026-12-01 10:10")
      .returned();
    story.until("2026-12-01 10:40").raised("urgent", true).until("2026-12-01 10:46");
    expect(story.sentSince()).toEqual([
      "10:00 ada push Rowan: hopper empty",
      "10:10 ada push softly Rowan: back to normal",
      "10:40 ada push softly Rowan: hopper empty",
      "10:45 bo push Rowan: hopper empty", // ten minutes before it went, five after it came back
    ]);
    expect(story.notified[2]?.notification.content.actions).toEqual(["acknowledge", "pause"]);
  });

  it("sends an e-mail about the return to whoever had an e-mail that it had ended", () => {
    const story = new EscalationScenario(recipientsOf([cilla]), "2026-12-01 10:00")
      .raised()
      .until("2026-12-01 10:10")
      .returned();
    story.until("2026-12-01 10:20").raised("urgent", true);
    expect(story.sentSince()).toEqual([
      "10:00 cilla email Rowan: hopper empty",
      "10:10 cilla email softly Rowan: back to normal",
      "10:20 cilla email Rowan: hopper empty",
    ]);
  });

  it("pushes where nobody had been notified of it before", () => {
    const story = new EscalationScenario(recipientsOf([{ ...bo, escalationOrder: 1 }]), "2026-12-01 06:00")
      .raised()
      .returned();
    story.until("2026-12-01 07:00").raised("urgent", true);
    expect(story.sentSince()).toEqual(["07:00 bo push Rowan: hopper empty"]);
  });
});
