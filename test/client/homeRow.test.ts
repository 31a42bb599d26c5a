import { describe, expect, it } from "vitest";
import type { PageState } from "../../client/text/feeder.ts";
import {
  feederNeed,
  foodDaysText,
  heardText,
  isKnownPaused,
  nextAct,
  rowLine,
  rowMarks,
} from "../../client/text/feederRow.ts";
import { homeVerdict } from "../../client/text/homeVerdict.ts";
import type { FeederView, YardView } from "../../server/contract/api.ts";
import { alarmViewFixture, feederViewFixture, homeViewFixture } from "./viewFixtures.ts";

/** The first page answers "is all well?", and never better than is known. */

const now = Date.parse("2026-12-01T07:00:00Z");
const iso = (at: number) => new Date(at).toISOString();
const hours = 3_600_000;
const page: PageState = { now, asOf: now, connection: "live", zone: "Europe/Stockholm" };
const feeder = (change: Partial<FeederView> = {}) => feederViewFixture(now, change);
const alarm = (change: Parameters<typeof alarmViewFixture>[1] = {}) => alarmViewFixture(now, change);
const [croft] = homeViewFixture(now).yards as [YardView];
const yardOf = (...feeders: FeederView[]): YardView => ({ ...croft, feeders });
const verdict = (feeders: readonly FeederView[], change: Partial<PageState> = {}) =>
  homeVerdict([yardOf(...feeders)], { ...page, ...change });

const paused = feeder({
  id: "p",
  summary: "Paused until resumed.",
  summaryValidUntil: null,
  pause: { ...feeder().pause, status: { kind: "paused", at: iso(now) } },
});
const jammed = feeder({ id: "j", name: "Larch", alarms: [alarm()], summary: "Tray jammed.", summaryValidUntil: null });
const silent = feeder({
  id: "s",
  alarms: [alarm({ fault: "feederSilent" })],
  summary: "No reports.",
  summaryValidUntil: null,
});

describe("the verdict", () => {
  it("is that all is well only where each feeder is known to be", () => {
    expect(verdict([feeder(), feeder({ id: "2" })])).toEqual({ kind: "well", title: "All well", detail: "" });
    // The server has said so, and a report was missed since.
    const missed = feeder({ id: "2", summaryValidUntil: iso(now - 1) });
    expect(verdict([feeder(), missed])).toMatchObject({ kind: "unsure", title: "1 not fully known", detail: "1 well" });
    expect(verdict([])).toBeNull();
  });

  it("begins with what is most serious, and counts the others", () => {
    expect(verdict([feeder(), jammed])).toMatchObject({ kind: "you", title: "1 of 2 needs you", detail: "1 well" });
    expect(verdict([feeder(), jammed, { ...jammed, id: "k" }, silent, paused])).toMatchObject({
      title: "2 of 5 need you",
      detail: "1 not heard from, 1 paused, 1 well",
    });
    expect(verdict([feeder(), silent])).toMatchObject({ kind: "silent", title: "1 not heard from" });
  });

  it("names the only feeder", () => {
    expect(verdict([jammed])?.title).toBe("Larch needs you");
    expect(verdict([paused])?.title).toBe("Rowan is paused");
    expect(verdict([feeder({ lastReportAt: null, summary: "No report yet." })])?.title).toBe(
      "Rowan has not reported yet",
    );
    expect(verdict([feeder({ settings: { ...feeder().settings, placement: "putAway" } })])?.title).toBe(
      "Rowan is not in use",
    );
  });

  it("isn't known without a connection, whatever was known last: planted", () => {
    const old = { asOf: now - 2 * hours, connection: "offline" } as const;
    expect(verdict([feeder(), feeder({ id: "2" })], old)).toEqual({
      kind: "unknown",
      title: "Not known since 06:00",
      detail: "Then: all well.",
    });
  });

  it("counts a feeder whose stored state is damaged, and no practice feeder", () => {
    const damaged = { id: "d", name: "Hazel", text: "damaged" };
    expect(homeVerdict([{ ...yardOf(feeder()), damagedFeeders: [damaged] }], page)?.title).toBe("1 of 2 needs you");
    expect(homeVerdict([{ ...yardOf(jammed), practice: true }], page)).toBeNull();
  });

  it("asks for the keeper where an order isn't followed, or something must be checked", () => {
    expect(feederNeed(feeder(), { text: "Pause: not confirmed in time", needsAttention: true }, now)).toBe("you");
    expect(feederNeed(feeder({ alarms: [alarm({ state: "latchedAcknowledged" })] }), null, now)).toBe("you");
    expect(feederNeed(feeder({ alarms: [alarm({ priority: "note" })] }), null, now)).toBe("well");
  });
});

describe("the line of a row", () => {
  const food = (
    p10: number | null,
    p90: number | null,
    level: FeederView["hopper"]["level"] = feeder().hopper.level,
  ) => {
    const at = (ahead: number | null) => (ahead === null ? null : iso(now + ahead * hours));
    const emptyForecast = { p10: at(p10), p50: null, p90: at(p90) };
    return foodDaysText({ hopper: { ...feeder().hopper, level, emptyForecast } }, now);
  };

  it("says for how many days the food is enough, never longer than is known", () => {
    expect(food(62, 131)).toBe("Food: 2 to 5 days");
    expect(food(71, 73)).toBe("Food: 2 to 3 days");
    expect(food(74, 75)).toBe("Food: about 3 days");
    expect(food(30, null)).toBe("Food: at least a day");
    expect(food(7.9, 40)).toBe("Food: at least 7 h");
    expect(food(-1, 40)).toBe("Food may be out"); // a time that has passed is never told
    expect(food(null, null)).toBe("Food: not known");
    expect(food(62, 131, null)).toBe("Food: not known");
  });

  it("says what is wrong where it isn't well, and its age where the page is old", () => {
    expect(rowLine(feeder(), page)).toBe("Food: 2 to 5 days");
    expect(heardText(feeder(), page)).toBe("2 min ago");
    expect(rowLine(jammed, page)).toBe("Tray jammed.");
    const offline = { ...page, connection: "offline" } as const;
    expect(rowLine(feeder(), offline)).toMatch(/^At 08:00: /);
    expect([heardText(feeder(), offline), heardText(jammed, page)]).toEqual([null, null]);
  });

  it("has marks for what the line may not say", () => {
    expect(rowMarks(feeder(), now, false)).toEqual([]);
    expect(rowMarks(jammed, now, false)).toEqual(["urgent"]);
    expect(rowMarks(silent, now, false)).toEqual(["silent"]);
    const bench = { ...paused, settings: { ...paused.settings, placement: "onBench" as const } };
    expect(rowMarks({ ...bench, alarms: [alarm({ state: "shelved" })] }, now, false)).toEqual([
      "paused",
      "onBench",
      "shelved",
    ]);
  });

  it("knows no pause whose end has passed: planted", () => {
    expect(isKnownPaused(paused, now)).toBe(true);
    const order = { kind: "pause", until: iso(now - 1) } as NonNullable<FeederView["pause"]["order"]>;
    expect(isKnownPaused({ ...paused, pause: { ...paused.pause, order } }, now)).toBe(false);
  });
});

describe("the next act", () => {
  it("is what the most urgent alarm asks for, and else to acknowledge it", () => {
    const foodOut = alarm({ fault: "foodOut", act: "refill", state: "acknowledged" });
    expect(nextAct(feeder({ alarms: [foodOut] }), false)).toEqual({ kind: "refill" });
    expect(nextAct(jammed, false)).toEqual({ kind: "pause" });
    expect(nextAct(jammed, true)).toMatchObject({ kind: "acknowledge" }); // it is paused already
    expect(nextAct(feeder({ alarms: [alarm({ act: null, state: "acknowledged" })] }), false)).toBeNull();
    expect(nextAct(feeder({ alarms: [alarm({ state: "shelved" })] }), false)).toBeNull();
    expect(nextAct(feeder({ alarms: [alarm({ state: "returnedUnacknowledged" })] }), false)).toMatchObject({
      kind: "acknowledge",
    });
    expect(nextAct(feeder(), false)).toBeNull();
    // Without a level nothing is forecast; a note asks for nothing.
    const unknown = feeder({ hopper: { ...feeder().hopper, level: null }, alarms: [alarm({ priority: "note" })] });
    expect(nextAct(unknown, false)).toEqual({ kind: "refill" });
    expect(nextAct({ ...unknown, lastReportAt: null }, false)).toBeNull();
    expect(nextAct(feeder({ alarms: [alarm({ priority: "note" })] }), false)).toBeNull();
  });
});
