import { describe, expect, it } from "vitest";
import { after, hours, instantOf, minutes, type Span } from "../../../server/domain/instant.ts";
import type { AlarmEvent } from "../../../server/domain/notification/escalation.ts";
import { seededRandom } from "../../../server/practice/random.ts";
import { Agenda } from "./agenda.ts";
import { drawIncidents, incidentKinds } from "./incidents.ts";
import { nextLocal, readTime, tripTime, zone } from "./keeperModel.ts";
import { NotificationModel } from "./notificationModel.ts";
import { formatWinterTables } from "./tables.ts";
import { simulateWinter } from "./winter.ts";
import type { WinterFigures } from "./winterCounter.ts";

/** The winters of `npm run winters` in small: what is measured must be measured by something that works. */

describe("a winter in small", { timeout: 60_000 }, () => {
  it("is the same for the same seed, notifies of what breaks, and reaches people, e-mail and corrections", () => {
    const lived = () => simulateWinter({ seed: 30_005, feeders: 2, days: 6 }).figures();
    const figures = lived();
    expect(lived()).toEqual(figures);
    expect(figures.feederWeeks).toBeCloseTo(12 / 7, 9);
    expect(figures.incidents.length).toBeGreaterThan(0);
    expect(figures.incidents.some(({ hoursUntilNotified }) => hoursUntilNotified !== null)).toBe(true);
    expect(figures.escalations.some(({ wrong }) => wrong !== null)).toBe(true);
    expect(figures.notifications).toBeGreaterThanOrEqual(figures.escalations.length);
    expect(figures.corrections).toBeGreaterThan(0);
  });

  it("is quieter where nothing breaks, and never notifies of what broke then", () => {
    const figures = simulateWinter({ seed: 30_005, feeders: 2, days: 6, mishaps: false }).figures();
    expect(figures.incidents).toEqual([]);
    expect(figures.escalations.every(({ wrong }) => wrong !== "itself")).toBe(true);
  });
});

describe("what goes wrong", () => {
  it("goes wrong as often as in the table", () => {
    const from = instantOf("2025-11-01T00:00:00Z");
    const long = hours(24 * 30 * 40) as Span;
    const drawn = drawIncidents(seededRandom(7), 10, from, after(from, long));
    for (const mischance of incidentKinds) {
      const expected = mischance.perMonth * 40 * (mischance.where === "yard" ? 1 : 10);
      const count = drawn.filter((incident) => incident.kind === mischance).length;
      expect(Math.abs(count - expected)).toBeLessThan(4 * Math.sqrt(expected));
    }
    expect(drawn.every(({ from }, index) => from >= (drawn[index - 1]?.from ?? 0))).toBe(true);
  });
});

describe("the household", () => {
  const night = instantOf("2026-01-10T01:00:00Z");
  const day = instantOf("2026-01-10T10:00:00Z");
  it("stands before a feeder by daylight only", () => {
    const chance = seededRandom(3);
    for (let trip = 0; trip < 200; trip += 1) {
      const at = tripTime(trip % 2 === 0 ? night : day, trip % 3 === 0, chance);
      const hour = new Date(at).toLocaleString("en-GB", { hour: "2-digit", hourCycle: "h23", timeZone: zone });
      expect(Number(hour)).toBeGreaterThanOrEqual(8);
      expect(Number(hour)).toBeLessThan(17);
    }
  });
  it("sleeps through what is not urgent, and wakes now and then for what is", () => {
    const chance = seededRandom(3);
    const wake = nextLocal("06:30", night);
    for (let n = 0; n < 50; n += 1) expect(readTime(night, false, chance)).toBeGreaterThanOrEqual(wake);
    const urgent = Array.from({ length: 50 }, () => readTime(night, true, chance));
    expect(urgent.some((at) => at < wake)).toBe(true);
    expect(urgent.some((at) => at >= wake)).toBe(true);
  });
});

describe("what is planned", () => {
  it("is done in the order of its time, and of one time in the order of planning", () => {
    const agenda = new Agenda();
    const done: string[] = [];
    const at = instantOf("2026-01-10T10:00:00Z");
    agenda.plan(after(at, minutes(2)), () => done.push("later"));
    agenda.plan(at, () => done.push("first"));
    agenda.plan(at, () => done.push("second"));
    while (agenda.nextAt !== null) agenda.next(agenda.nextAt);
    expect(done).toEqual(["first", "second", "later"]);
  });
});

describe("the post office", () => {
  it("notifies Ada first, Bo when nobody responds, and nobody once somebody has", () => {
    const post = new NotificationModel(() => []);
    const at = instantOf("2026-01-10T10:00:00Z");
    const source = { fault: "trayJammed", at } as const;
    const raised: AlarmEvent = {
      ...{ kind: "raised", ...source, priority: "urgent" },
      ...{ title: "Rowan: tray jammed", body: "It is.", sameEpisode: false },
    };
    const rowan = { id: "rowan", state: { settings: { name: "Rowan" } } as never, lastHeardAt: null };
    const people = (sent: readonly { notification: { person: string; channel: string } }[]) =>
      sent.map(({ notification }) => `${notification.person} by ${notification.channel}`);
    expect(people(post.handle(rowan, raised, at))).toEqual(["ada by push"]);
    const due = post.dueAt;
    expect(due).not.toBeNull();
    const late = after(at, minutes(15));
    expect(people(post.advance(late))).toContain("bo by push");
    const seen = after(at, minutes(16));
    post.handle(rowan, { kind: "acknowledged", ...source, at: seen, by: "Ada" }, seen);
    expect(people(post.advance(after(at, hours(30))))).toEqual([]);
  });
});

describe("the tables", () => {
  const figures = (change: Partial<WinterFigures> = {}): WinterFigures => ({
    ...{
      feederWeeks: 100,
      notifications: 3,
      reminders: 1,
      neededNotifications: 2,
      corrections: 5,
      emails: 1,
      allClearEmails: 0,
    },
    escalations: [
      { fault: "trayJammed", urgent: true, wrong: "hand" },
      { fault: "foodLow", urgent: false, wrong: null },
    ],
    worstTenMinutes: 2,
    incidents: [
      { mishap: "trayJammed", yard: false, hoursUntilNotified: 3, hoursItStood: 9 },
      { mishap: "trayJammed", yard: false, hoursUntilNotified: null, hoursItStood: 50 },
    ],
    absences: 0,
    ...change,
  });
  it("add winters up and give their limits", () => {
    const tables = formatWinterTables([figures(), figures({ worstTenMinutes: 4 })]);
    expect(tables).toContain("Quiet over 2 winters, 200 feeder-weeks");
    expect(tables).toMatch(/alarms notified, each once +\| 4 +\| 0\.02 +\| 0\.00545 to 0\.0512 /);
    expect(tables).toMatch(/worst ten minutes of one person, notifications +\| 4 +\| half of the winters: 3/);
    expect(tables).toMatch(/\| trayJammed, feeder +\| 4 +\| 50\.0 % /);
    expect(tables).toMatch(/\| tray jammed +\| 2 +\| 0\.01 /);
  });
});
