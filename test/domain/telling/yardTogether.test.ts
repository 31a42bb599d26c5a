import { describe, expect, it } from "vitest";
import { topicOf } from "../../../server/domain/alarms/notices.ts";
import { after, before, type Instant, instantOf, minutes, type Span, seconds } from "../../../server/domain/instant.ts";
import type { Call, ToldPerson } from "../../../server/domain/telling/call.ts";
import { type GroupedFeeder, yardTopic } from "../../../server/domain/telling/group.ts";
import { advanceGrouped } from "../../../server/domain/telling/groupedAlarms.ts";
import { ada, bo, circleOf } from "./circle.ts";

const now = instantOf("2026-12-01T11:00:00Z");
const ago = (count: number): Instant => before(now, minutes(count));

/** Ada was told of it, by no way that is known of here. */
const told = (more: Partial<ToldPerson> = {}): ToldPerson => ({
  ...{ person: "ada", times: 1, firstAt: ago(5), lastAt: ago(5), gapFrom: ago(5), owedNews: false },
  ...{ pushedAt: null, shownAt: null, mailedAt: null },
  ...more,
});

const callOf = (feeder: string, more: Partial<Call> = {}): Call => ({
  ...{ topic: topicOf(feeder, "feederSilent"), yard: "alder", feeder, fault: "feederSilent", priority: "urgent" },
  ...{ name: feeder, raisedAt: ago(5), freshAt: ago(5), title: `${feeder}: feeder silent`, body: "Nothing heard." },
  ...{ holdUntil: null, turn: 1, turnAt: ago(5), told: [told()], acknowledgedBy: null, overAt: null, news: null },
  ...{ unreachable: false, spokenForBy: null, alsoAt: [], silent: [] },
  ...more,
});

const silent = (id: string, heardAgo: number, more: Partial<GroupedFeeder> = {}): GroupedFeeder => ({
  ...{ id, name: id, inService: true, lastHeardAt: ago(heardAgo), reportEvery: minutes(1) },
  ...{ silentFrom: ago(heardAgo - 3), call: callOf(id) },
  ...more,
});

function settled(feeders: readonly GroupedFeeder[], call: Call | null = null, people = [ada, bo]) {
  const yard = { id: "alder", name: "Alder Croft", fault: "feederSilent" as const, call, feeders };
  const { calls } = advanceGrouped(yard, circleOf(people), now);
  return calls.find(({ topic }) => topic === yardTopic("alder", "feederSilent"))?.call ?? null;
}
const togetherWith = (heardAgo: number, more: Partial<GroupedFeeder> = {}) =>
  settled([silent("rowan", 40), silent("larch", heardAgo, more)])?.silent.map(({ feeder }) => feeder) ?? [];

describe("feeders that were last heard near to each other", () => {
  it("fell silent together within a quarter of an hour, or within the longer of their intervals", () => {
    expect(togetherWith(25)).toEqual(["rowan", "larch"]);
    expect(togetherWith(25, { lastHeardAt: after(ago(25), seconds(1)) })).toEqual([]);
    expect(togetherWith(15, { reportEvery: minutes(30) })).toEqual(["rowan", "larch"]);
    expect(togetherWith(9, { reportEvery: minutes(30) })).toEqual([]);
  });

  it("are joined by when they were last heard, whatever their order, and the larger group makes the call", () => {
    const feeders = [
      silent("rowan", 40),
      silent("elder", 90),
      silent("larch", 50),
      silent("alder", 98),
      silent("aspen", 85),
    ];
    const expected = ["alder", "elder", "aspen"];
    expect(settled(feeders)?.silent.map(({ feeder }) => feeder)).toEqual(expected);
    expect(settled([...feeders].reverse())?.silent.map(({ feeder }) => feeder)).toEqual(expected);
  });

  it("make the earlier group's call where two groups are alike", () => {
    const feeders = [silent("rowan", 40), silent("larch", 41), silent("elder", 90), silent("alder", 91)];
    expect(settled(feeders)?.silent.map(({ feeder }) => feeder)).toEqual(["alder", "elder"]);
  });
});

describe("who was told of one of them", () => {
  const mergedFrom = (one: Partial<ToldPerson>, other: Partial<ToldPerson>) => {
    const of = (first: Partial<ToldPerson>, second: Partial<ToldPerson>) =>
      settled([
        silent("rowan", 40, { call: callOf("rowan", { told: [told(first)] }) }),
        silent("larch", 40, { call: callOf("larch", { told: [told(second)] }) }),
      ])?.told.find(({ person }) => person === "ada");
    const merged = of(one, other);
    expect(of(other, one)).toEqual(merged); // which of them was told first makes no difference
    return merged;
  };

  it("has been told as often as of the one told most, from the first time to the last", () => {
    const early = { times: 3, firstAt: ago(12), lastAt: ago(6), gapFrom: ago(6) };
    const late = { times: 1, firstAt: ago(9), lastAt: ago(4), gapFrom: ago(3) };
    expect(mergedFrom(early, late)).toMatchObject({ times: 3, firstAt: ago(12), lastAt: ago(4), gapFrom: ago(3) });
  });

  it("was last reached by each way when the later of the two reached them, which one way never proves of another", () => {
    const one = { pushedAt: ago(4), shownAt: ago(3), mailedAt: null };
    const other = { pushedAt: ago(2), shownAt: null, mailedAt: ago(1) };
    expect(mergedFrom(one, other)).toMatchObject({ pushedAt: ago(2), shownAt: ago(3), mailedAt: ago(1) });
  });

  it("is taken for not reached only where neither of the two can have reached them", () => {
    const lost = { pushedAt: ago(9), pushLostAt: ago(8) };
    expect(mergedFrom(lost, { pushedAt: ago(5) })?.pushLostAt).toBeNull();
    expect(mergedFrom(lost, {})?.pushLostAt).toEqual(ago(8)); // of the other no push was sent
    const shown = { shownAt: ago(4) }; // so that nothing is sent anew while it is looked at
    expect(mergedFrom({ ...lost, ...shown }, { pushedAt: ago(5), pushLostAt: ago(4) })?.pushLostAt).toBe(ago(4));
  });
});

describe("how far the turns have gone", () => {
  it("is as far as the farthest of them, since the earlier moment of that turn", () => {
    const call = (feeder: string, turn: number, minutesAgo: number) =>
      callOf(feeder, { turn, turnAt: ago(minutesAgo), freshAt: ago(minutesAgo) });
    const joined = settled([
      silent("rowan", 40, { call: call("rowan", 2, 3) }),
      silent("larch", 40, { call: call("larch", 2, 4) }),
      silent("elder", 40, { call: call("elder", 1, 14) }),
    ]);
    expect(joined).toMatchObject({ turn: 2, turnAt: ago(4), freshAt: ago(14) });
  });
});

describe("a yard's call that comes right back", () => {
  const over = (acknowledgedBy: string | null): Call =>
    callOf("yard", {
      ...{
        topic: yardTopic("alder", "feederSilent"),
        feeder: null,
        name: "Alder Croft",
        overAt: ago(10),
        acknowledgedBy,
      },
      ...{ raisedAt: ago(30), freshAt: ago(30), told: [told({ times: 2, firstAt: ago(30), lastAt: ago(12) })] },
    });
  const both = [
    silent("rowan", 40, { call: callOf("rowan", { told: [], turn: 0 }) }),
    silent("larch", 40, { call: callOf("larch", { told: [], turn: 0 }) }),
  ];

  it("goes on where nobody has acknowledged it, and is new where somebody has", () => {
    expect(settled(both, over(null))?.told.find(({ person }) => person === "ada")?.firstAt).toBe(ago(30));
    expect(settled(both, over("Ada"))?.told.find(({ person }) => person === "ada")?.firstAt).toBe(now);
  });
});

describe("a first silence", () => {
  /** Rowan's silence waits two minutes for Larch, which is late too and counts as silent so long from now. */
  const held = (silentIn: Span, lateBy: Span) => {
    const feeders = [
      silent("rowan", 3, { call: callOf("rowan", { told: [], turn: 0, holdUntil: after(now, minutes(2)) }) }),
      silent("larch", 2, { lastHeardAt: before(now, lateBy), silentFrom: after(now, silentIn), call: null }),
    ];
    const yard = { id: "alder", name: "Alder Croft", fault: "feederSilent" as const, call: null, feeders };
    const { tellings } = advanceGrouped(yard, circleOf([ada]), now);
    return tellings.length === 0;
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
