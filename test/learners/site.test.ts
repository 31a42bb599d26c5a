import { describe, expect, it } from "vitest";
import { after, seconds } from "../../server/domain/instant.ts";
import { localDaysBetween } from "../../server/domain/localTime.ts";
import { dayProblems } from "./dayProblems.ts";
import { liveDays, someConditions } from "./liveDays.ts";
import { type LivedDay, type Site, siteMakers, stageKinds } from "./site.ts";

const seeds = [1, 2, 3, 4, 5, 6, 7, 8];
const kinds = Object.entries(siteMakers);
const pressing = someConditions({ stage: "pressForFood" });

describe.each(kinds)("a site of the kind %s", (kind, make) => {
  it("gives the same days for the same seed, and others for another", () => {
    const days = (seed: number) => liveDays(make(seed), "2026-03-20", 15, pressing);
    expect(days(3)).toEqual(days(3));
    expect(days(3)).not.toEqual(days(4));
  });

  it("records each day as a feeder does, in each stage", () => {
    for (const seed of seeds) {
      const site = make(seed);
      const days = stageKinds.flatMap((stage, index) =>
        liveDays(
          site,
          `2026-${String(2 * index + 2).padStart(2, "0")}-20`,
          12,
          someConditions({ stage, paysEvery: 1 + (index % 2) }),
        ),
      );
      expect(days.flatMap((day) => dayProblems(site, day))).toEqual([]);
      expect(seqProblems(days)).toEqual([]);
    }
  });

  it("says what it is", () => {
    expect(make(1).truth).toEqual({ kind, learns: kind !== "neverLearns" });
  });
});

/** Seq goes on from day to day, and begins at 1 with each new boot. */
const seqProblems = (days: readonly LivedDay[]): readonly string[] =>
  days.flatMap(({ date, boot, events }, index) => {
    const before = days.slice(0, index).filter((day) => day.events.length > 0 && day.boot === boot);
    const next = (before.at(-1)?.events.at(-1)?.seq ?? 0) + 1;
    const [first] = events;
    return first === undefined || first.seq === next ? [] : [`${date}: expected seq ${next}, got ${first.seq}`];
  });

describe("the check of a day", () => {
  it("finds each planted fault", () => {
    const { site, day } = dayWithPaidPress();
    const change = (changed: (events: LivedDay["events"]) => LivedDay["events"]): LivedDay => ({
      ...day,
      events: changed(day.events),
    });
    const planted: readonly LivedDay[] = [
      change((events) => events.map((event) => (event.kind === "portion" ? { ...event, paysFor: null } : event))),
      change((events) => events.map((event) => (event.kind === "press" ? { ...event, earns: false } : event))),
      change((events) => events.filter(({ kind }) => kind !== "portion")),
      change((events) => events.toReversed()),
      change((events) => events.map((event) => ({ ...event, recordedAt: after(event.recordedAt, seconds(86_400)) }))),
      { ...day, truth: { ...day.truth, actShare: 1.01 } },
    ];
    expect(dayProblems(site, day)).toEqual([]);
    for (const one of planted) expect(dayProblems(site, one)).not.toEqual([]);
    expect(dayProblems({ ...site, hasPerch: false }, day)).not.toEqual([]);
  });

  function dayWithPaidPress(): { readonly site: Site; readonly day: LivedDay } {
    for (const seed of seeds) {
      const site = siteMakers.insight?.(seed);
      if (site === undefined || !site.hasPerch) continue;
      const day = liveDays(site, "2026-03-20", 60, pressing).find(
        ({ events }) =>
          events.some((event) => event.kind === "portion" && event.cause === "press") &&
          events.some(({ kind }) => kind === "visit"),
      );
      if (day !== undefined) return { site, day };
    }
    throw new Error("expected a site with a paid press among the seeds");
  }
});

describe("all sites together", () => {
  const lived = kinds.flatMap(([, make]) =>
    seeds.map((seed) => {
      const site = make(seed);
      return { site, days: liveDays(site, "2026-03-20", 40, pressing) };
    }),
  );
  const days = lived.flatMap((one) => one.days);
  const has = (wanted: (day: LivedDay) => boolean): boolean => days.some(wanted);

  it("hold what makes a judgement hard", () => {
    expect(lived.some(({ site }) => !site.hasPerch)).toBe(true);
    expect(has(({ truth }) => truth.hiddenFault)).toBe(true);
    for (const kind of ["foodOut", "jammed", "detectorDeaf", "paused", "offline"]) {
      expect(has(({ faults }) => faults.some((fault) => fault.kind === kind))).toBe(true);
    }
    expect(has(({ events }) => events.some((event) => event.kind === "deposit" && event.metal === false))).toBe(false);
    expect(has(({ events }) => events.some((event) => event.kind === "lid"))).toBe(true);
    expect(has(({ events }) => events.some((event) => event.kind === "portion" && event.chuteCount === 0))).toBe(true);
  });

  it("send some deposits that are no caps, in the cap stages", () => {
    const caps = seeds.flatMap((seed) =>
      liveDays(siteMakers.associative?.(seed) as Site, "2026-03-20", 30, someConditions({ stage: "nudgeCap" })),
    );
    const deposits = caps.flatMap(({ events }) => events.filter((event) => event.kind === "deposit"));
    const rejected = deposits.filter((event) => event.metal === false);
    expect(rejected.length).toBeGreaterThan(0);
    expect(rejected.length).toBeLessThan(0.5 * deposits.length);
  });

  it("have the weather of each hour, 23 to 25 of them", () => {
    for (const { weather } of days) expect([23, 24, 25]).toContain(weather.length);
    const short = days.filter(({ weather }) => weather.length !== 24).map(({ date }) => date);
    expect(short.every((date) => localDaysBetween("2026-03-28", date) < 10)).toBe(true);
    expect(short.length).toBeGreaterThan(0);
  });

  it("refuse a day that was lived already", () => {
    const site = siteMakers.social?.(1) as Site;
    site.live("2026-05-02", pressing);
    expect(() => site.live("2026-05-02", pressing)).toThrow(/expected a date after/);
    site.live("2026-05-09", pressing);
  });
});
