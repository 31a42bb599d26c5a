import { describe, expect, it } from "vitest";
import { at, check, iso, keeper, portion, replay, report, settings, truth } from "./lines.ts";

const chute = { button: false, detector: false, chute: true, perch: false, scale: false };
const rowan = { name: "Rowan", zone: "Europe/Stockholm", sensors: chute, hopperCapacityGrams: 2_000, portionGrams: 5 };

/** A report for each minute, with its content. */
const reports = (from: number, to: number, contentAt: (minute: number) => object = () => ({})) =>
  Array.from({ length: to - from }, (_, index) => report(from + index, contentAt(from + index)));
const alarms = (output: readonly Record<string, unknown>[], kind?: string) =>
  output.filter(({ alarm }) => alarm !== undefined && (kind === undefined || alarm === kind));
const hoppers = (output: readonly Record<string, unknown>[]) => output.filter((line) => "hopper" in line);

/** A good portion each minute, and from `jamAt` on a tray that moves nothing. */
const jammed = (from: number, to: number, jamAt: number) =>
  reports(from, to, (minute) => ({
    readings: { spooled: 0 },
    // A tray that presses against food draws more current than one that turns freely.
    events: [minute < jamAt ? portion(minute, minute, 3) : { ...portion(minute, minute, 0), meanMilliamps: 285 }],
  }));

describe("time in a replay", () => {
  it("passes between the lines: a periodic check detects silence, at a third of a minute, while nothing is in the log", async () => {
    const log = [settings(0, rowan), ...reports(1, 120), report(600, { boot: "b-2" })];
    const { output } = await replay(log);
    const [raised, returned] = alarms(output, "feederSilent");
    expect(raised).toMatchObject({ feeder: "rowan", state: "unacknowledged", priority: "urgent" });
    expect(raised?.reason).toContain("No report for 10 minutes");
    const raisedAt = Date.parse(String(raised?.at));
    expect(raisedAt % 20_000).toBe(0);
    expect(raisedAt).toBeGreaterThan(at(120));
    expect(raisedAt).toBeLessThan(at(150));
    expect(returned).toMatchObject({ at: iso(600), state: "returnedUnacknowledged" });
  });

  it("outputs the hopper at each local midnight, also on the day that has 25 hours", async () => {
    const log = [
      JSON.stringify({ at: "2026-10-24T10:00:00Z", feeder: "rowan", settings: rowan }),
      JSON.stringify({ at: "2026-10-24T10:00:01Z", feeder: "rowan", keeper: { refill: { grams: 500 } } }),
      JSON.stringify({ at: "2026-10-26T23:30:00Z", feeder: "rowan", truth: { fault: "foodLow", phase: "end" } }),
    ];
    const { output } = await replay(log);
    // Summer time ended in Stockholm on 2026-10-25 at 03:00: midnight moves from 22:00 to 23:00 UTC.
    expect(hoppers(output).map((line) => line.at)).toEqual([
      "2026-10-24T22:00:00.000Z",
      "2026-10-25T23:00:00.000Z",
      "2026-10-26T23:00:00.000Z",
    ]);
    expect(hoppers(output)[0]?.empty).toEqual({ p10: null, p50: null, p90: null });
  });

  it("outputs it each full hour too where that is requested, for every feeder, in time order", async () => {
    const log = [
      settings(0, rowan),
      settings(0, { zone: "Asia/Kolkata" }, "larch"),
      report(630),
      report(660, {}, "larch"),
    ];
    const { output } = await replay(log, { hourly: true });
    const times = output.map((line) => String(line.at));
    expect(times).toEqual([...times].sort());
    const of = (feeder: string) =>
      hoppers(output)
        .filter((line) => line.feeder === feeder)
        .map((line) => line.at);
    expect(of("rowan")).toEqual([1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11].map((hour) => iso(60 * hour)));
    // In Kolkata it is 17:30 at noon UTC: midnight and every full hour there are half past an hour here.
    expect(of("larch")).toContain("2026-01-15T18:30:00.000Z");
    expect(of("larch")).toEqual([0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10].map((hour) => iso(60 * hour + 30)));
  });

  it("is that of the log: a line that goes back, or skips years, is refused", async () => {
    const late = JSON.stringify({ receivedAt: "2036-01-15T12:00:00Z", feeder: "rowan", report: {} });
    const { wrong, problems } = await replay([
      report(10),
      report(5),
      late.replace("{}", '{"boot":"b","sentUptimeMs":1}'),
    ]);
    expect(wrong).toBe(2);
    expect(problems).toEqual([
      `line 2: receivedAt: is ${iso(5)}, before ${iso(10)} of a line above: a log is in time order`,
      "line 3: receivedAt: is 2036-01-15T12:00:00.000Z, more than 1000 days after the line above",
    ]);
  });
});

describe("a keeper's action, replayed,", () => {
  const levels = async (...actions: object[]) => {
    const log = [settings(0, rowan), ...actions.map((action, index) => keeper(index + 1, action)), report(700)];
    const { output, wrong } = await replay(log);
    expect(wrong).toBe(0);
    return (hoppers(output)[0]?.hopper as { grams: number } | null)?.grams ?? null;
  };

  it("may be a refill by grams, a refill to the brim, or a level that somebody read", async () => {
    expect(await levels()).toBeNull();
    expect(await levels({ refill: { filled: true } })).toBe(2_000);
    // Words are evidence: what was told last moves the level by nearly all of it.
    expect(Math.abs(((await levels({ refill: { levelGrams: 300 } })) ?? 0) - 300)).toBeLessThan(5);
    expect(
      Math.abs(((await levels({ refill: { levelGrams: 300 } }, { refill: { grams: 200 } })) ?? 0) - 500),
    ).toBeLessThan(15);
  });

  it("may be a pause that must be confirmed, or a resume that replaces it", async () => {
    const paused = [settings(0, rowan), ...reports(1, 5), keeper(5, { pause: { id: "p-1", until: iso(90) } })];
    const unconfirmed = await replay([...paused, ...reports(6, 15)]);
    expect(alarms(unconfirmed.output, "pauseOverdue")[0]).toMatchObject({ state: "unacknowledged" });
    const done = { seq: 1, uptimeMs: 1_000 * 60_000, kind: "order", order: "p-1", outcome: "done" };
    const confirmed = await replay([
      ...paused,
      report(6, { events: [done], readings: { paused: true } }),
      ...reports(7, 15),
    ]);
    expect(alarms(confirmed.output)).toEqual([]);
    const resumed = await replay([...paused, keeper(5, { resume: { id: "r-1" } }), ...reports(6, 25)]);
    expect(alarms(resumed.output, "pauseOverdue")).toEqual([]);
    expect(alarms(resumed.output, "staysPaused").some(({ state }) => state === "unacknowledged")).toBe(true); // the resume was not confirmed either
  });

  it("may be the acknowledgement of an alarm, or its shelving until a time", async () => {
    const log = [settings(0, rowan), keeper(0, { refill: { filled: true } }), ...jammed(1, 90, 61)];
    const { output } = await replay(log);
    const raised = alarms(output, "trayJammed").find(({ state }) => state === "unacknowledged");
    expect(raised).toBeDefined();
    const seen = await replay([...log, keeper(91, { acknowledge: { fault: "trayJammed" } })]);
    expect(alarms(seen.output, "trayJammed").at(-1)).toMatchObject({ at: iso(91), state: "acknowledged" });
    const shelved = await replay([
      ...log,
      keeper(91, { shelve: { fault: "trayJammed", until: iso(92) } }),
      ...reports(91, 95),
    ]);
    expect(alarms(shelved.output, "trayJammed").slice(-2)).toMatchObject([
      { at: iso(91), state: "shelved" },
      { state: "unacknowledged" },
    ]);
  });

  it("may be a change of settings from then on", async () => {
    const trouble = { seq: 1, uptimeMs: 60_000, kind: "trouble", words: "the lid hangs" };
    const log = [
      settings(0, rowan),
      report(1),
      settings(2, { zone: "UTC", name: "Rowan at the gate" }),
      report(900, { events: [trouble] }),
    ];
    const { output, wrong } = await replay(log);
    expect(wrong).toBe(0);
    expect(hoppers(output).map((line) => line.at)).toEqual(["2026-01-16T00:00:00.000Z"]); // not Stockholm's midnight any more
  });
});

describe("periodic checks", () => {
  const silent = [settings(0, rowan), ...reports(1, 70)];

  it("are made when a server would make them, as long as the log has none", async () => {
    const { output } = await replay([...silent, report(300)]);
    expect(alarms(output, "feederSilent").map(({ state }) => state)).toContain("unacknowledged");
    expect(alarms(output, "feederSilent")[0]?.at).not.toBe(iso(300));
  });

  it("are those of the log where it has them: a server that was down checked nothing", async () => {
    const down = [...silent.slice(0, 1), check(0, "complete"), ...silent.slice(1)];
    expect(alarms((await replay([...down, report(300)])).output, "feederSilent")).toEqual([]);
    const checked = await replay([...down, check(200, "checked"), check(220, "checked"), report(300)]);
    const [first, second] = alarms(checked.output, "feederSilent");
    expect([first?.at, second?.at]).toContain(iso(200));
  });
});

describe("a refill that was entered late", () => {
  it("counts from when it happened: later readings of the scale include it, and without one the word counts", async () => {
    const weighed = reports(20, 60, () => ({ readings: { hopperGrams: 900 } }));
    const level = async (refill: object) => {
      const log = [settings(0, { ...rowan, sensors: { ...chute, scale: true } }), ...weighed];
      const { output } = await replay([
        ...log,
        keeper(61, { refill: { grams: 500, ...refill } }),
        report(100),
        report(900),
      ]);
      const [line] = hoppers(output) as { hopper: { grams: number } }[];
      return line?.hopper.grams;
    };
    expect(await level({ at: iso(10) })).toBeLessThan(1_000);
    expect(await level({})).toBeGreaterThan(1_300);
  });
});

describe("settings that are not in the log", () => {
  it("are as given, or else the defaults", async () => {
    const log = [keeper(0, { refill: { filled: true } }), report(900)];
    const level = async (given: object) => hoppers((await replay(log, { settings: given })).output)[0]?.hopper;
    // The capacity is not entered: the assumed kilogram, with an uncertainty of half of it.
    const usual = (await level({})) as { readonly low: number; readonly high: number };
    expect(usual.low).toBeLessThan(510);
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
    const { output } = await replay(log, { summary: true });
    expect(output.at(-1)).toEqual({
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

  it("has the time from the true beginning of a jam to its alarm", async () => {
    const log = [settings(0, rowan), keeper(0, { refill: { filled: true } }), ...jammed(1, 61, 61)];
    const planted = [...log, truth(60, "trayJammed", "begin"), ...jammed(61, 100, 61), truth(100, "trayJammed", "end")];
    const { output } = await replay(planted, { summary: true });
    const raised = alarms(output, "trayJammed").find(({ state }) => state === "unacknowledged");
    const delay = (Date.parse(String(raised?.at)) - at(60)) / 1_000;
    expect(delay).toBeGreaterThan(0);
    expect(delay).toBeLessThan(1_800);
    expect(output.at(-1)).toMatchObject({
      summary: {
        detection: {
          trayJammed: {
            begun: 1,
            detected: 1,
            missed: 0,
            open: 0,
            falseAlarms: 0,
            secondsToDetect: { least: delay, mean: delay, most: delay },
          },
        },
      },
    });
  });

  it("counts missed faults, open faults and false alarms", async () => {
    const log = [
      settings(0, rowan),
      report(1),
      truth(2, "scaleSilent", "begin"),
      truth(3, "scaleSilent", "end"),
      truth(4, "motorStalled", "begin"),
      ...reports(5, 90),
      report(300), // silent meanwhile, which is not in the truth
    ];
    const { output } = await replay(log, { summary: true });
    expect(output.at(-1)).toMatchObject({
      summary: {
        detection: {
          scaleSilent: { begun: 1, detected: 0, missed: 1, open: 0, secondsToDetect: null },
          motorStalled: { begun: 1, detected: 0, missed: 0, open: 1, secondsToDetect: null },
          feederSilent: { begun: 0, detected: 0, falseAlarms: 1 },
        },
      },
    });
  });

  it("counts repeated events, and takes them once", async () => {
    const events = (minute: number, ...seqs: number[]) => seqs.map((seq) => portion(minute, seq, 3));
    const log = [settings(0, rowan), keeper(0, { refill: { filled: true } })];
    const once = [...log, report(1, { events: events(1, 1, 2) }), report(2), report(700)];
    const twice = [...log, report(1, { events: events(1, 2, 1) }), report(2, { events: events(1, 1, 2) }), report(700)];
    const [a, b] = [await replay(once, { summary: true }), await replay(twice, { summary: true })];
    expect(hoppers(b.output)).toEqual(hoppers(a.output));
    expect(a.output.at(-1)).toMatchObject({ summary: { events: 2, duplicates: 0 } });
    expect(b.output.at(-1)).toMatchObject({ summary: { events: 2, duplicates: 2 } });
  });
});
