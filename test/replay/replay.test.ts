import { describe, expect, it } from "vitest";
import { at, check, iso, keeper, portion, replay, report, settings, truth } from "./lines.ts";

const chute = { button: false, detector: false, chute: true, perch: false, scale: false };
const rowan = { name: "Rowan", zone: "Europe/Stockholm", sensors: chute, hopperCapacityGrams: 2_000, portionGrams: 5 };

/** Reports from one minute to the next, each with what it holds. */
const reports = (from: number, to: number, said: (minute: number) => object = () => ({})) =>
  Array.from({ length: to - from }, (_, index) => report(from + index, said(from + index)));
const alarms = (told: readonly Record<string, unknown>[], kind?: string) =>
  told.filter(({ alarm }) => alarm !== undefined && (kind === undefined || alarm === kind));
const hoppers = (told: readonly Record<string, unknown>[]) => told.filter((line) => "hopper" in line);

/** Sixty good portions, a minute each, and then a tray that moves nothing. */
const jammed = (from: number, to: number, jamAt: number) =>
  reports(from, to, (minute) => ({
    readings: { spooled: 0 },
    // A tray that presses against food draws more than one that turns freely.
    events: [minute < jamAt ? portion(minute, minute, 3) : { ...portion(minute, minute, 0), meanMilliamps: 285 }],
  }));

describe("time in a replay", () => {
  it("passes between the lines: silence is told by patrol, at a third of a minute, while nothing is in the log", async () => {
    const log = [settings(0, rowan), ...reports(1, 120), report(600, { boot: "b-2" })];
    const { told } = await replay(log);
    const [raised, returned] = alarms(told, "feederSilent");
    expect(raised).toMatchObject({ feeder: "rowan", phase: "unacknowledged", priority: "urgent" });
    expect(raised?.reason).toContain("No report for 10 minutes");
    const saidAt = Date.parse(String(raised?.at));
    expect(saidAt % 20_000).toBe(0);
    expect(saidAt).toBeGreaterThan(at(120));
    expect(saidAt).toBeLessThan(at(150));
    expect(returned).toMatchObject({ at: iso(600), phase: "returnedUnacknowledged" });
  });

  it("tells the hopper at each local midnight, also on the day that has 25 hours", async () => {
    const log = [
      JSON.stringify({ at: "2026-10-24T10:00:00Z", feeder: "rowan", settings: rowan }),
      JSON.stringify({ at: "2026-10-24T10:00:01Z", feeder: "rowan", keeper: { refill: { grams: 500 } } }),
      JSON.stringify({ at: "2026-10-26T23:30:00Z", feeder: "rowan", truth: { fault: "foodLow", phase: "end" } }),
    ];
    const { told } = await replay(log);
    // Summer time ended in Stockholm on 2026-10-25 at 03:00: midnight moves from 22:00 to 23:00 UTC.
    expect(hoppers(told).map((line) => line.at)).toEqual([
      "2026-10-24T22:00:00.000Z",
      "2026-10-25T23:00:00.000Z",
      "2026-10-26T23:00:00.000Z",
    ]);
    expect(hoppers(told)[0]?.empty).toEqual({ p10: null, p50: null, p90: null });
  });

  it("tells it each full hour too where that is asked for, of every feeder, in the order of time", async () => {
    const log = [
      settings(0, rowan),
      settings(0, { zone: "Asia/Kolkata" }, "larch"),
      report(630),
      report(660, {}, "larch"),
    ];
    const { told } = await replay(log, { hourly: true });
    const times = told.map((line) => String(line.at));
    expect(times).toEqual([...times].sort());
    const of = (feeder: string) =>
      hoppers(told)
        .filter((line) => line.feeder === feeder)
        .map((line) => line.at);
    expect(of("rowan")).toEqual([1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11].map((hour) => iso(60 * hour)));
    // In Kolkata it is 17:30 at noon UTC: midnight and every full hour there are half past an hour here.
    expect(of("larch")).toContain("2026-01-15T18:30:00.000Z");
    expect(of("larch")).toEqual([0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10].map((hour) => iso(60 * hour + 30)));
  });

  it("is the log's own: a line that would turn it back, or leap over years, is refused", async () => {
    const late = JSON.stringify({ receivedAt: "2036-01-15T12:00:00Z", feeder: "rowan", report: {} });
    const { wrong, complaints } = await replay([
      report(10),
      report(5),
      late.replace("{}", '{"boot":"b","sentUptimeMs":1}'),
    ]);
    expect(wrong).toBe(2);
    expect(complaints).toEqual([
      `line 2: receivedAt: is ${iso(5)}, before ${iso(10)} of a line above: a log is in time order`,
      "line 3: receivedAt: is 2036-01-15T12:00:00.000Z, more than 1000 days after the line above",
    ]);
  });
});

describe("what a keeper did, replayed,", () => {
  const levels = async (...acts: object[]) => {
    const log = [settings(0, rowan), ...acts.map((act, index) => keeper(index + 1, act)), report(700)];
    const { told, wrong } = await replay(log);
    expect(wrong).toBe(0);
    return (hoppers(told)[0]?.hopper as { grams: number } | null)?.grams ?? null;
  };

  it("is a refill by grams, to the brim, or what was left when somebody looked", async () => {
    expect(await levels()).toBeNull();
    expect(await levels({ refill: { filled: true } })).toBe(2_000);
    expect(await levels({ refill: { levelGrams: 300 } })).toBe(300);
    expect(await levels({ refill: { levelGrams: 300 } }, { refill: { grams: 200 } })).toBe(500);
  });

  it("is a pause that must be confirmed, and a resume that ends the waiting", async () => {
    const paused = [settings(0, rowan), ...reports(1, 5), keeper(5, { pause: { id: "p-1", until: iso(90) } })];
    const deaf = await replay([...paused, ...reports(6, 15)]);
    expect(alarms(deaf.told, "pauseOverdue")[0]).toMatchObject({ phase: "unacknowledged" });
    const done = { seq: 1, uptimeMs: 1_000 * 60_000, kind: "order", order: "p-1", outcome: "done" };
    const obedient = await replay([
      ...paused,
      report(6, { events: [done], readings: { paused: true } }),
      ...reports(7, 15),
    ]);
    expect(alarms(obedient.told)).toEqual([]);
    const resumed = await replay([...paused, keeper(5, { resume: { id: "r-1" } }), ...reports(6, 25)]);
    expect(alarms(resumed.told, "pauseOverdue")).toEqual([]);
    expect(alarms(resumed.told, "staysPaused").some(({ phase }) => phase === "unacknowledged")).toBe(true); // nor was that answered
  });

  it("is an alarm that was seen, or put aside until a time", async () => {
    const log = [settings(0, rowan), keeper(0, { refill: { filled: true } }), ...jammed(1, 90, 61)];
    const { told } = await replay(log);
    const raised = alarms(told, "trayJammed").find(({ phase }) => phase === "unacknowledged");
    expect(raised).toBeDefined();
    const seen = await replay([...log, keeper(91, { acknowledge: { fault: "trayJammed" } })]);
    expect(alarms(seen.told, "trayJammed").at(-1)).toMatchObject({ at: iso(91), phase: "acknowledged" });
    const shelved = await replay([
      ...log,
      keeper(91, { shelve: { fault: "trayJammed", until: iso(92) } }),
      ...reports(91, 95),
    ]);
    expect(alarms(shelved.told, "trayJammed").slice(-2)).toMatchObject([
      { at: iso(91), phase: "shelved" },
      { phase: "unacknowledged" },
    ]);
  });

  it("is a change of settings from then on", async () => {
    const trouble = { seq: 1, uptimeMs: 60_000, kind: "trouble", words: "the lid hangs" };
    const log = [
      settings(0, rowan),
      report(1),
      settings(2, { zone: "UTC", name: "Rowan at the gate" }),
      report(900, { events: [trouble] }),
    ];
    const { told, wrong } = await replay(log);
    expect(wrong).toBe(0);
    expect(hoppers(told).map((line) => line.at)).toEqual(["2026-01-16T00:00:00.000Z"]); // no longer Stockholm's
  });
});

describe("periodic checks", () => {
  const silent = [settings(0, rowan), ...reports(1, 70)];

  it("are taken when a server would have looked, as long as the log doesn't tell of them", async () => {
    const { told } = await replay([...silent, report(300)]);
    expect(alarms(told, "feederSilent").map(({ phase }) => phase)).toContain("unacknowledged");
    expect(alarms(told, "feederSilent")[0]?.at).not.toBe(iso(300));
  });

  it("are those of the log where it tells of them: a server that was down looked at nothing", async () => {
    const down = [...silent.slice(0, 1), check(0, "complete"), ...silent.slice(1)];
    expect(alarms((await replay([...down, report(300)])).told, "feederSilent")).toEqual([]);
    const looked = await replay([...down, check(200, "checked"), check(220, "checked"), report(300)]);
    const [first, second] = alarms(looked.told, "feederSilent");
    expect([first?.at, second?.at]).toContain(iso(200));
  });
});

describe("a refill that was told late", () => {
  it("counts from when it happened: what the scale weighed since then holds it already", async () => {
    const weighed = reports(20, 60, () => ({ readings: { hopperGrams: 900 } }));
    const level = async (refill: object) => {
      const log = [settings(0, { ...rowan, sensors: { ...chute, scale: true } }), ...weighed];
      const { told } = await replay([...log, keeper(61, { refill: { grams: 500, ...refill } }), report(900)]);
      const [line] = hoppers(told) as { hopper: { grams: number } }[];
      return line?.hopper.grams;
    };
    expect(await level({ at: iso(10) })).toBeLessThan(1_000);
    expect(await level({})).toBeGreaterThan(1_300);
  });
});

describe("settings that the log doesn't tell", () => {
  it("are as given, and what is not given is as usual", async () => {
    const log = [keeper(0, { refill: { filled: true } }), report(900)];
    const level = async (given: object) => hoppers((await replay(log, { settings: given })).told)[0]?.hopper;
    // Nobody has said what a full one holds: the usual kilogram, give or take half of it.
    const usual = (await level({})) as { readonly low: number; readonly high: number };
    expect(usual.low).toBeLessThan(500);
    expect(usual.high).toBeGreaterThan(1_000);
    expect(await level({ hopperCapacityGrams: 3_000 })).toMatchObject({ grams: 3_000 });
  });
});

describe("the summary", () => {
  const week = 7 * 24 * 60;

  it("counts alarms by kind and feeder-week", async () => {
    const log = [
      settings(0, rowan),
      settings(0, rowan, "larch"),
      ...reports(1, 70),
      report(week),
      report(week, {}, "larch"),
    ];
    const { told } = await replay(log, { summary: true });
    expect(told.at(-1)).toEqual({
      summary: {
        from: iso(0),
        to: iso(week),
        feeders: 2,
        feederWeeks: 2,
        reports: 71,
        events: 0,
        duplicates: 0,
        refused: 0,
        alarms: { feederSilent: { raised: 1, perFeederWeek: 0.5 } },
      },
    });
  });

  it("tells how long after a jam truly began it was told", async () => {
    const log = [settings(0, rowan), keeper(0, { refill: { filled: true } }), ...jammed(1, 61, 61)];
    const planted = [...log, truth(60, "trayJammed", "begin"), ...jammed(61, 100, 61), truth(100, "trayJammed", "end")];
    const { told } = await replay(planted, { summary: true });
    const raised = alarms(told, "trayJammed").find(({ phase }) => phase === "unacknowledged");
    const delay = (Date.parse(String(raised?.at)) - at(60)) / 1_000;
    expect(delay).toBeGreaterThan(0);
    expect(delay).toBeLessThan(1_800);
    expect(told.at(-1)).toMatchObject({
      summary: {
        detection: {
          trayJammed: {
            begun: 1,
            told: 1,
            missed: 0,
            open: 0,
            unfounded: 0,
            secondsToTell: { least: delay, mean: delay, most: delay },
          },
        },
      },
    });
  });

  it("tells what was never told, what is still awaited, and what was told without a cause", async () => {
    const log = [
      settings(0, rowan),
      report(1),
      truth(2, "scaleSilent", "begin"),
      truth(3, "scaleSilent", "end"),
      truth(4, "motorStalled", "begin"),
      ...reports(5, 90),
      report(300), // silent meanwhile, of which the truth says nothing
    ];
    const { told } = await replay(log, { summary: true });
    expect(told.at(-1)).toMatchObject({
      summary: {
        detection: {
          scaleSilent: { begun: 1, told: 0, missed: 1, open: 0, secondsToTell: null },
          motorStalled: { begun: 1, told: 0, missed: 0, open: 1, secondsToTell: null },
          feederSilent: { begun: 0, told: 0, unfounded: 1 },
        },
      },
    });
  });

  it("counts what came twice, and takes it once", async () => {
    const events = (minute: number, ...seqs: number[]) => seqs.map((seq) => portion(minute, seq, 3));
    const log = [settings(0, rowan), keeper(0, { refill: { filled: true } })];
    const once = [...log, report(1, { events: events(1, 1, 2) }), report(2), report(700)];
    const twice = [...log, report(1, { events: events(1, 2, 1) }), report(2, { events: events(1, 1, 2) }), report(700)];
    const [a, b] = [await replay(once, { summary: true }), await replay(twice, { summary: true })];
    expect(hoppers(b.told)).toEqual(hoppers(a.told));
    expect(a.told.at(-1)).toMatchObject({ summary: { events: 2, duplicates: 0 } });
    expect(b.told.at(-1)).toMatchObject({ summary: { events: 2, duplicates: 2 } });
  });
});
