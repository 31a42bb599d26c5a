import { describe, expect, it } from "vitest";
import { alarmTopic } from "../../../server/domain/alarms/alarmTopic.ts";
import { after, type Instant, minutes } from "../../../server/domain/instant.ts";
import { instantOfLocal, localTimeOf } from "../../../server/domain/localTime.ts";
import { recordDisplay } from "../../../server/domain/notification/advanceEscalation.ts";
import { type GroupedFeeder, type GroupedYard, yardTopic } from "../../../server/domain/notification/alarmGroup.ts";
import type { AlarmEvent, Escalation, Recipients } from "../../../server/domain/notification/escalation.ts";
import {
  advanceGrouped,
  type GroupStep,
  handleGroupedEvent,
} from "../../../server/domain/notification/groupedAlarms.ts";
import { ada, bo, notificationText, recipientsOf, stockholm } from "./escalationScenario.ts";

/** How the rules could be wrong; each must make one of the promises below fail. */
type Bend = (yard: GroupedYard) => GroupedYard;

const names: Readonly<Record<string, string>> = { rowan: "Rowan", larch: "Larch", elder: "Elder" };

/** Alder Croft on the first of December: feeders that report each minute and count as silent after three. */
class Croft {
  now: Instant = this.at("10:00");
  readonly lines: string[] = [];
  readonly nextAts = new Map<string, Instant>();
  private readonly escalations = new Map<string, Escalation>();
  private readonly reportedAt = new Map<string, Instant>();
  private readonly inService: Set<string>;
  private readonly recipients: Recipients;
  private readonly bend: Bend;

  constructor(feeders: readonly string[], recipients: Recipients = recipientsOf([ada]), bend: Bend = (yard) => yard) {
    this.recipients = recipients;
    this.bend = bend;
    this.inService = new Set(feeders);
    for (const feeder of feeders) this.reportedAt.set(feeder, this.now);
  }

  at(time: string): Instant {
    return instantOfLocal("2026-12-01", time, stockholm);
  }

  /** Last report at that time. */
  report(feeder: string, time: string): this {
    this.reportedAt.set(feeder, this.at(time));
    return this;
  }

  reportAll(time: string): this {
    for (const feeder of this.reportedAt.keys()) this.report(feeder, time);
    return this;
  }

  silent(feeder: string, time: string, sameEpisode = false): this {
    const words = { title: `${names[feeder]}: no reports`, body: "No report for 3 minutes." };
    return this.receives(feeder, time, {
      ...{ kind: "raised", fault: "feederSilent", priority: "urgent", at: this.at(time), ...words, sameEpisode },
    });
  }

  back(feeder: string, time: string): this {
    const event = { title: `${names[feeder]}: back to normal`, body: "No longer so: no reports." };
    this.report(feeder, time);
    return this.receives(feeder, time, { kind: "returned", fault: "feederSilent", at: this.at(time), ...event });
  }

  acknowledged(feeder: string, time: string, by = "Ada"): this {
    return this.receives(feeder, time, { kind: "acknowledged", fault: "feederSilent", at: this.at(time), by });
  }

  suppressed(feeder: string, time: string): this {
    return this.receives(feeder, time, {
      kind: "suppressed",
      fault: "feederSilent",
      at: this.at(time),
      text: "Put aside.",
    });
  }

  putAway(feeder: string): this {
    this.inService.delete(feeder);
    return this;
  }

  until(time: string): this {
    for (let looks = 0; looks < 1_000; looks += 1) {
      const due = Math.min(...this.nextAts.values()) as Instant;
      if (due > this.at(time)) break;
      if (due <= this.now) throw new Error("a next look must lie ahead");
      this.now = due;
      this.take(advanceGrouped(this.yard(), this.recipients, this.now));
    }
    this.now = this.at(time);
    return this;
  }

  looks(): this {
    this.take(advanceGrouped(this.yard(), this.recipients, this.now));
    return this;
  }

  shown(person: string): this {
    for (const [topic, escalation] of this.escalations)
      this.escalations.set(topic, recordDisplay(escalation, person, this.now));
    return this;
  }

  notifications(): string[] {
    return this.lines.splice(0);
  }

  escalation(feeder: string | null): Escalation | null {
    return (
      this.escalations.get(feeder === null ? yardTopic("alder", "feederSilent") : alarmTopic(feeder, "feederSilent")) ??
      null
    );
  }

  private receives(feeder: string, time: string, event: AlarmEvent): this {
    this.until(time);
    this.take(handleGroupedEvent(this.yard(), { feeder, event: event }, this.recipients, this.now));
    return this;
  }

  private yard(): GroupedYard {
    const feeders = [...this.reportedAt].map(([id, lastHeardAt]): GroupedFeeder => {
      const silentFrom = after(lastHeardAt, minutes(3));
      return {
        ...{ id, name: names[id] ?? id, inService: this.inService.has(id), lastReportAt: lastHeardAt, silentFrom },
        ...{ reportEvery: minutes(1), escalation: this.escalation(id) },
      };
    });
    return this.bend({
      id: "alder",
      name: "Alder Croft",
      fault: "feederSilent",
      escalation: this.escalation(null),
      feeders,
    });
  }

  private take({ escalations, notifications }: GroupStep): void {
    for (const notification of notifications)
      this.lines.push(`${localTimeOf(this.now, stockholm)} ${notificationText(notification)}`);
    for (const { topic, escalation, nextAt } of escalations) {
      this.nextAts.delete(topic);
      if (nextAt !== null) this.nextAts.set(topic, nextAt);
      if (escalation === null) this.escalations.delete(topic);
      else this.escalations.set(topic, JSON.parse(JSON.stringify(escalation)) as Escalation);
    }
    const again = advanceGrouped(this.yard(), this.recipients, this.now);
    if (again.notifications.length > 0)
      throw new Error(`notified twice: ${again.notifications.map(notificationText).join("; ")}`);
  }
}

const three = ["rowan", "larch", "elder"];

describe("one silent feeder", () => {
  it("is notified at once where the others report", () => {
    const croft = new Croft(three).reportAll("11:02").report("rowan", "11:00").silent("rowan", "11:03");
    expect(croft.notifications()).toEqual(["11:03 ada push Rowan: no reports"]);
    expect(croft.escalation(null)).toBeNull();
  });

  it("waits two minutes for another that is late too, and no longer", () => {
    const croft = new Croft(three).reportAll("11:01").report("elder", "11:03").report("rowan", "11:00");
    croft.silent("rowan", "11:03");
    expect(croft.notifications()).toEqual([]);
    croft.report("larch", "11:04").until("11:10");
    expect(croft.notifications()).toEqual(["11:05 ada push Rowan: no reports", "11:10 ada email Rowan: no reports"]);
  });

  it("doesn't wait for one that is put away, nor for one that can't be known for silent in time", () => {
    const away = new Croft(["rowan", "larch"]).reportAll("11:01").report("rowan", "11:00").putAway("larch");
    expect(away.silent("rowan", "11:03").notifications()).toHaveLength(1);
    const patient: Bend = (yard) => ({
      ...yard,
      feeders: yard.feeders.map((one) =>
        one.id === "larch" && one.lastReportAt ? { ...one, silentFrom: after(one.lastReportAt, minutes(20)) } : one,
      ),
    });
    const slow = new Croft(["rowan", "larch"], recipientsOf([ada]), patient)
      .reportAll("11:01")
      .report("rowan", "11:00");
    expect(slow.silent("rowan", "11:03").notifications()).toHaveLength(1);
  });

  it("reports again while it waits, and nobody is notified", () => {
    const croft = new Croft(["rowan", "larch"]).reportAll("11:01").report("rowan", "11:00").silent("rowan", "11:03");
    croft.back("rowan", "11:04").until("12:30");
    expect(croft.notifications()).toEqual([]);
    expect(croft.escalation("rowan")).toBeNull();
  });
});

/** The yard's power is cut at eleven: two are found silent within the wait. */
const cut = (bend?: Bend) =>
  new Croft(three, recipientsOf([ada]), bend)
    .reportAll("11:00")
    .report("larch", "11:01")
    .report("elder", "11:03")
    .silent("rowan", "11:03")
    .silent("larch", "11:04");

describe("feeders of one yard that fall silent together", () => {
  it("make one escalation for the yard, and push once", () => {
    const croft = cut();
    expect(croft.notifications()).toEqual(["11:04 ada push Alder Croft: no reports from 2 of 3 feeders"]);
    expect(croft.escalation("rowan")).toBeNull();
    expect(croft.escalation("larch")).toBeNull();
    expect(croft.escalation(null)).toMatchObject({
      feeder: null,
      topic: yardTopic("alder", "feederSilent"),
      body: "Last reports: Rowan at 11:00, Larch at 11:01. They stopped at about the same time. Check the yard's power and network first.",
    });
  });

  it("take in another without a sound", () => {
    const croft = cut().shown("ada").report("elder", "11:06");
    croft.notifications();
    croft.silent("elder", "11:09");
    expect(croft.notifications()).toEqual(["11:09 ada push softly Alder Croft: no reports from all 3 feeders"]);
  });

  it("replace the notification of one of them, silently for those who got it", () => {
    const croft = new Croft(three).reportAll("11:08").report("rowan", "11:00").silent("rowan", "11:03").shown("ada");
    expect(croft.notifications()).toEqual(["11:03 ada push Rowan: no reports"]);
    croft.silent("larch", "11:11");
    expect(croft.notifications()).toEqual([
      "11:11 ada push softly Rowan: part of a group",
      "11:11 ada push softly Alder Croft: no reports from 2 of 3 feeders",
    ]);
    croft.until("11:40");
    expect(croft.notifications()).toEqual(["11:33 ada push Alder Croft: no reports from 2 of 3 feeders"]); // half an hour after the first notification
  });

  it("go on through the levels from where the first of them stood", () => {
    const croft = new Croft(three, recipientsOf([ada, { ...bo, escalationOrder: 2 }]))
      .reportAll("11:08")
      .report("rowan", "11:00");
    croft.silent("rowan", "11:03").shown("ada").silent("larch", "11:11").notifications();
    croft.until("11:20");
    expect(croft.notifications()).toEqual(["11:18 bo push Alder Croft: no reports from 2 of 3 feeders"]);
  });

  it("stay apart where a quarter of an hour lies between them", () => {
    const croft = new Croft(three).reportAll("11:20").report("rowan", "11:00").silent("rowan", "11:03").shown("ada");
    croft.report("elder", "11:23").silent("larch", "11:23");
    expect(croft.notifications()).toEqual(["11:03 ada push Rowan: no reports", "11:23 ada push Larch: no reports"]);
    expect(croft.escalation(null)).toBeNull();
  });

  it("end when all report again, and not before", () => {
    const croft = cut().shown("ada").report("elder", "11:06").silent("elder", "11:09");
    croft.notifications();
    croft.back("rowan", "11:20");
    expect(croft.notifications()).toEqual(["11:20 ada push softly Alder Croft: no reports from 2 of 3 feeders"]);
    croft.suppressed("larch", "11:21").notifications();
    const both = cut().shown("ada");
    both.notifications();
    both.acknowledged("rowan", "11:05").back("larch", "11:10").back("rowan", "11:10");
    expect(both.notifications().at(-1)).toBe("11:10 ada push softly Rowan: back to normal");
    both.until("13:00");
    expect(both.escalation(null)).toBeNull();
    expect(both.escalation("rowan")).toBeNull();
    expect(both.nextAts.size).toBe(0);
  });

  it("leave the last of them its own escalation, without a second push", () => {
    const croft = cut().shown("ada");
    croft.notifications();
    croft.back("larch", "11:20");
    expect(croft.notifications()).toEqual([
      "11:20 ada push softly Alder Croft: only Rowan has no reports",
      "11:20 ada push softly Rowan: no reports",
    ]);
    expect(croft.escalation(null)?.endedAt).toBe(croft.now);
    expect(croft.escalation("rowan")?.recipientStates).toMatchObject([{ person: "ada", timesNotified: 1 }]);
    croft.until("11:40");
    expect(croft.notifications()).toEqual(["11:34 ada push Rowan: no reports"]);
  });

  it("are answered for by whoever has seen one of them", () => {
    const croft = new Croft(three, recipientsOf([ada, { ...bo, escalationOrder: 1 }]))
      .reportAll("11:00")
      .silent("rowan", "11:03");
    croft.silent("larch", "11:03").shown("ada").shown("bo").notifications();
    croft.acknowledged("larch", "11:06");
    expect(croft.notifications()).toEqual([
      "11:06 bo push softly Acknowledged by Ada: no reports from 2 of 3 feeders at Alder Croft",
    ]);
    croft.until("23:00");
    expect(croft.notifications()).toEqual([]);
  });

  it("push again where one of them had been acknowledged alone", () => {
    const croft = new Croft(three).reportAll("11:08").report("rowan", "11:00").silent("rowan", "11:03").shown("ada");
    croft.acknowledged("rowan", "11:05").notifications();
    croft.silent("larch", "11:11");
    expect(croft.notifications()).toContain("11:11 ada push Alder Croft: no reports from 2 of 3 feeders");
  });

  it("forget one that is put away", () => {
    const croft = cut().shown("ada");
    croft.notifications();
    croft.putAway("larch").looks();
    expect(croft.escalation(null)?.endedAt).toBe(croft.now);
    expect(croft.escalation("rowan")).not.toBeNull();
    expect(croft.notifications().filter((line) => !line.includes("softly"))).toEqual([]);
  });

  it("notify once for a power line that flickers within the hour", () => {
    const croft = new Croft(["rowan", "larch"]).reportAll("11:00").silent("rowan", "11:03").silent("larch", "11:03");
    croft.shown("ada").back("rowan", "11:10").back("larch", "11:10");
    croft.reportAll("11:20").silent("rowan", "11:23", true).silent("larch", "11:23", true).until("11:30");
    expect(croft.notifications().filter((line) => !line.includes("softly"))).toEqual([
      "11:03 ada push Alder Croft: no reports from both feeders",
    ]);
    expect(croft.escalation(null)?.silentFeeders.length).toBe(2);
  });

  it("is not notified again where only one of them is back within the hour", () => {
    const croft = new Croft(["rowan", "larch"]).reportAll("11:00").silent("rowan", "11:03").silent("larch", "11:03");
    croft.shown("ada").back("larch", "11:10").back("rowan", "11:10").notifications();
    croft.until("11:33").reportAll("11:33").report("larch", "11:30").silent("larch", "11:33", true);
    expect(croft.notifications()).toEqual(["11:33 ada push softly Larch: no reports"]);
  });

  it("are set aside one by one", () => {
    const croft = cut().shown("ada").report("elder", "11:06").suppressed("rowan", "11:10").suppressed("larch", "11:10");
    expect(croft.notifications().at(-1)).toBe("11:10 ada push softly Larch: no action needed");
    expect(croft.escalation("larch")?.endedAt).not.toBeNull();
  });

  it("are set right on the screens where all of them are put away at once", () => {
    const croft = cut().shown("ada");
    croft.notifications();
    croft.putAway("rowan").putAway("larch").looks();
    expect(croft.notifications()).toEqual(["11:04 ada push softly Alder Croft: no action needed"]);
    croft.until("23:00");
    expect(croft.notifications()).toEqual([]);
    expect(croft.escalation(null)).toBeNull();
  });

  it("name at most four", () => {
    const many = ["rowan", "larch", "elder", "willow", "hazel"];
    const croft = new Croft(many).reportAll("11:00");
    for (const feeder of many) croft.silent(feeder, "11:03");
    expect(croft.escalation(null)?.title).toBe("Alder Croft: no reports from all 5 feeders");
    expect(croft.escalation(null)?.body).toContain("and 1 more. They stopped");
  });

  it("must be the yard's own", () => {
    expect(() => new Croft(["rowan"]).silent("stranger", "11:03")).toThrow(RangeError);
  });
});

describe("planted bugs of the yard's rule", () => {
  const bent =
    (change: (feeder: GroupedFeeder) => GroupedFeeder): Bend =>
    (yard) => ({
      ...yard,
      feeders: yard.feeders.map(change),
    });
  const pushes = (croft: Croft) => croft.notifications().filter((line) => !line.includes("softly"));

  it.each<[string, Bend]>([
    ["nobody is ever overdue, so that the first pushes alone", bent((one) => ({ ...one, silentFrom: null }))],
    [
      "feeders are looked at one by one",
      (yard) => ({ ...yard, feeders: yard.feeders.filter(({ escalation }) => escalation) }),
    ],
    ["the yard's escalation is forgotten", (yard) => ({ ...yard, escalation: null })],
    ["when they last reported is taken for unknown", bent((one) => ({ ...one, lastReportAt: null }))],
    ["all count as put away", bent((one) => ({ ...one, inService: false }))],
  ])("would be caught where %s", (_, bend) => {
    const story = (how?: Bend) => {
      try {
        const croft = cut(how).shown("ada").report("elder", "11:06").silent("elder", "11:09");
        return [pushes(croft), croft.escalation(null)?.silentFeeders.length ?? 0, croft.escalation("rowan") === null];
      } catch {
        return null; // it broke, which is seen as well
      }
    };
    const right = [["11:04 ada push Alder Croft: no reports from 2 of 3 feeders"], 3, true];
    expect(story()).toEqual(right);
    expect(story(bend)).not.toEqual(right);
  });
});
