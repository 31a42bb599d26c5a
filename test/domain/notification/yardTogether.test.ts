import { describe, expect, it } from "vitest";
import { alarmTopic } from "../../../server/domain/alarms/alarmTopic.ts";
import { after, before, type Instant, instantOf, minutes, type Span, seconds } from "../../../server/domain/instant.ts";
import { type GroupedFeeder, yardTopic } from "../../../server/domain/notification/alarmGroup.ts";
import type { Escalation, RecipientState } from "../../../server/domain/notification/escalation.ts";
import { advanceGrouped } from "../../../server/domain/notification/groupedAlarms.ts";
import { ada, bo, recipientsOf } from "./escalationScenario.ts";

const now = instantOf("2026-12-01T11:00:00Z");
const ago = (count: number): Instant => before(now, minutes(count));

/** Ada was notified of it, by no channel that is known here. */
const stateWith = (more: Partial<RecipientState> = {}): RecipientState => ({
  ...{
    person: "ada",
    timesNotified: 1,
    firstNotifiedAt: ago(5),
    lastNotifiedAt: ago(5),
    reminderCountedFrom: ago(5),
    awaitsEndNews: false,
  },
  ...{ pushedAt: null, displayedAt: null, emailedAt: null },
  ...more,
});

const escalationOf = (feeder: string, more: Partial<Escalation> = {}): Escalation => ({
  ...{ topic: alarmTopic(feeder, "feederSilent"), yard: "alder", feeder, fault: "feederSilent", priority: "urgent" },
  ...{
    subjectName: feeder,
    raisedAt: ago(5),
    renewedAt: ago(5),
    title: `${feeder}: no reports`,
    body: "No report.",
  },
  ...{
    holdUntil: null,
    level: 1,
    levelAt: ago(5),
    recipientStates: [stateWith()],
    acknowledgedBy: null,
    endedAt: null,
    news: null,
  },
  ...{ unreachable: false, groupedUnder: null, alsoFeeders: [], silentFeeders: [] },
  ...more,
});

const silent = (id: string, heardAgo: number, more: Partial<GroupedFeeder> = {}): GroupedFeeder => ({
  ...{ id, name: id, inService: true, lastReportAt: ago(heardAgo), reportEvery: minutes(1) },
  ...{ silentFrom: ago(heardAgo - 3), escalation: escalationOf(id) },
  ...more,
});

function settled(feeders: readonly GroupedFeeder[], escalation: Escalation | null = null, people = [ada, bo]) {
  const yard = { id: "alder", name: "Alder Croft", fault: "feederSilent" as const, escalation: escalation, feeders };
  const { escalations } = advanceGrouped(yard, recipientsOf(people), now);
  return escalations.find(({ topic }) => topic === yardTopic("alder", "feederSilent"))?.escalation ?? null;
}
const togetherWith = (heardAgo: number, more: Partial<GroupedFeeder> = {}) =>
  settled([silent("rowan", 40), silent("larch", heardAgo, more)])?.silentFeeders.map(({ feeder }) => feeder) ?? [];

describe("feeders whose last reports are close to each other", () => {
  it("fell silent together within a quarter of an hour, or within the longer of their intervals", () => {
    expect(togetherWith(25)).toEqual(["rowan", "larch"]);
    expect(togetherWith(25, { lastReportAt: after(ago(25), seconds(1)) })).toEqual([]);
    expect(togetherWith(15, { reportEvery: minutes(30) })).toEqual(["rowan", "larch"]);
    expect(togetherWith(9, { reportEvery: minutes(30) })).toEqual([]);
  });

  it("are grouped by their last reports, whatever their order, and the larger group makes the escalation", () => {
    const feeders = [
      silent("rowan", 40),
      silent("elder", 90),
      silent("larch", 50),
      silent("alder", 98),
      silent("aspen", 85),
    ];
    const expected = ["alder", "elder", "aspen"];
    expect(settled(feeders)?.silentFeeders.map(({ feeder }) => feeder)).toEqual(expected);
    expect(settled([...feeders].reverse())?.silentFeeders.map(({ feeder }) => feeder)).toEqual(expected);
  });

  it("make the earlier group's escalation where two groups are alike", () => {
    const feeders = [silent("rowan", 40), silent("larch", 41), silent("elder", 90), silent("alder", 91)];
    expect(settled(feeders)?.silentFeeders.map(({ feeder }) => feeder)).toEqual(["alder", "elder"]);
  });
});

describe("who was notified of one of them", () => {
  const mergedFrom = (one: Partial<RecipientState>, other: Partial<RecipientState>) => {
    const of = (first: Partial<RecipientState>, second: Partial<RecipientState>) =>
      settled([
        silent("rowan", 40, { escalation: escalationOf("rowan", { recipientStates: [stateWith(first)] }) }),
        silent("larch", 40, { escalation: escalationOf("larch", { recipientStates: [stateWith(second)] }) }),
      ])?.recipientStates.find(({ person }) => person === "ada");
    const merged = of(one, other);
    expect(of(other, one)).toEqual(merged); // which of them was notified first makes no difference
    return merged;
  };

  it("has been notified as often as of the one notified most, from the first time to the last", () => {
    const early = { timesNotified: 3, firstNotifiedAt: ago(12), lastNotifiedAt: ago(6), reminderCountedFrom: ago(6) };
    const late = { timesNotified: 1, firstNotifiedAt: ago(9), lastNotifiedAt: ago(4), reminderCountedFrom: ago(3) };
    expect(mergedFrom(early, late)).toMatchObject({
      timesNotified: 3,
      firstNotifiedAt: ago(12),
      lastNotifiedAt: ago(4),
      reminderCountedFrom: ago(3),
    });
  });

  it("was last reached by each way when the later of the two reached them, which one way never proves of another", () => {
    const one = { pushedAt: ago(4), displayedAt: ago(3), emailedAt: null };
    const other = { pushedAt: ago(2), displayedAt: null, emailedAt: ago(1) };
    expect(mergedFrom(one, other)).toMatchObject({ pushedAt: ago(2), displayedAt: ago(3), emailedAt: ago(1) });
  });

  it("is taken for not reached only where neither of the two can have reached them", () => {
    const lost = { pushedAt: ago(9), pushLostAt: ago(8) };
    expect(mergedFrom(lost, { pushedAt: ago(5) })?.pushLostAt).toBeNull();
    expect(mergedFrom(lost, {})?.pushLostAt).toEqual(ago(8)); // of the other no push was sent
    const shown = { displayedAt: ago(4) }; // so that nothing is sent again while it is looked at
    expect(mergedFrom({ ...lost, ...shown }, { pushedAt: ago(5), pushLostAt: ago(4) })?.pushLostAt).toBe(ago(4));
  });
});

describe("how far the levels have gone", () => {
  it("is as far as the farthest of them, since the earlier moment of that level", () => {
    const escalation = (feeder: string, level: number, minutesAgo: number) =>
      escalationOf(feeder, { level: level, levelAt: ago(minutesAgo), renewedAt: ago(minutesAgo) });
    const joined = settled([
      silent("rowan", 40, { escalation: escalation("rowan", 2, 3) }),
      silent("larch", 40, { escalation: escalation("larch", 2, 4) }),
      silent("elder", 40, { escalation: escalation("elder", 1, 14) }),
    ]);
    expect(joined).toMatchObject({ level: 2, levelAt: ago(4), renewedAt: ago(14) });
  });
});

describe("a yard's escalation that comes right back", () => {
  const over = (acknowledgedBy: string | null): Escalation =>
    escalationOf("yard", {
      ...{
        topic: yardTopic("alder", "feederSilent"),
        feeder: null,
        subjectName: "Alder Croft",
        endedAt: ago(10),
        acknowledgedBy,
      },
      ...{
        raisedAt: ago(30),
        renewedAt: ago(30),
        recipientStates: [stateWith({ timesNotified: 2, firstNotifiedAt: ago(30), lastNotifiedAt: ago(12) })],
      },
    });
  const both = [
    silent("rowan", 40, { escalation: escalationOf("rowan", { recipientStates: [], level: 0 }) }),
    silent("larch", 40, { escalation: escalationOf("larch", { recipientStates: [], level: 0 }) }),
  ];

  it("goes on where nobody has acknowledged it, and is new where somebody has", () => {
    expect(settled(both, over(null))?.recipientStates.find(({ person }) => person === "ada")?.firstNotifiedAt).toBe(
      ago(30),
    );
    expect(settled(both, over("Ada"))?.recipientStates.find(({ person }) => person === "ada")?.firstNotifiedAt).toBe(
      now,
    );
  });

  it("is about missing reports, so that its e-mail has the caution for wires", () => {
    expect(settled(both, over("Ada"))?.fault).toBe("feederSilent");
    expect(settled(both, null)?.fault).toBe("feederSilent");
  });
});

describe("a first silence", () => {
  /** Rowan's silence waits two minutes for Larch, which is late too and counts as silent so long from now. */
  const held = (silentIn: Span, lateBy: Span) => {
    const feeders = [
      silent("rowan", 3, {
        escalation: escalationOf("rowan", { recipientStates: [], level: 0, holdUntil: after(now, minutes(2)) }),
      }),
      silent("larch", 2, { lastReportAt: before(now, lateBy), silentFrom: after(now, silentIn), escalation: null }),
    ];
    const yard = { id: "alder", name: "Alder Croft", fault: "feederSilent" as const, escalation: null, feeders };
    const { notifications } = advanceGrouped(yard, recipientsOf([ada]), now);
    return notifications.length === 0;
  };

  it("waits for another that counts as silent by the end of the wait, and for none that does later", () => {
    expect(held(minutes(2), minutes(2))).toBe(true);
    expect(held((minutes(2) + 1) as Span, minutes(2))).toBe(false);
  });

  it("waits for one that is more than half an interval late, and for none that is less", () => {
    expect(held(minutes(1), (seconds(90) + 1) as Span)).toBe(true);
    expect(held(minutes(1), seconds(90))).toBe(false);
  });
});
