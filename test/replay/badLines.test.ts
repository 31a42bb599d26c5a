import { describe, expect, it } from "vitest";
import { iso, keeper, replay, report, settings, truth } from "./lines.ts";

describe("a line that can't be read", () => {
  it.each<[string, string, RegExp]>([
    ["no JSON", "{", /^line 2: \(the whole\): is no JSON: /],
    [
      "no object",
      "7",
      /^line 2: \(the whole\): must have exactly one of report, refused, settings, keeper, orders, check, missing, truth$/,
    ],
    ["nothing that happened", JSON.stringify({ at: iso(1), feeder: "rowan" }), /must have exactly one of report/],
    [
      "two things that happened",
      JSON.stringify({ at: iso(1), feeder: "rowan", settings: {}, keeper: {} }),
      /exactly one of report/,
    ],
    ["no feeder", JSON.stringify({ receivedAt: iso(1), report: {} }), /^line 2: feeder: must name the feeder$/],
    ["no time", JSON.stringify({ feeder: "rowan", report: {} }), /^line 2: receivedAt: must be an ISO 8601 date/],
    ["a report's envelope", report(1, { boot: "no boot" }), /^line 2: report\.boot: must be 1 to 64 letters/],
    ["a report that is none", JSON.stringify({ receivedAt: iso(1), feeder: "rowan", report: 7 }), /^line 2: report: /],
    ["a setting", settings(1, { hopperCapacityGrams: 1 }), /^line 2: settings\.hopperCapacityGrams: /],
    ["a setting that isn't one", settings(1, { colour: "green" }), /^line 2: settings: .*"colour"/],
    ["a zone", settings(1, { zone: "Alder/Croft" }), /^line 2: settings\.zone: must be an IANA time zone/],
    ["an action that isn't one", keeper(1, { whistle: true }), /^line 2: keeper: .*"whistle"/],
    [
      "two actions",
      keeper(1, { resume: { id: "r" }, acknowledge: { fault: "foodOut" } }),
      /^line 2: keeper: must have exactly one of/,
    ],
    ["a refill of nothing", keeper(1, { refill: { grams: 0 } }), /^line 2: keeper\.refill\.grams: /],
    [
      "a refill of the future",
      keeper(1, { refill: { grams: 5, at: iso(2) } }),
      /^line 2: keeper\.refill\.at: lies after the moment at which it was entered/,
    ],
    ["a check of an unknown kind", JSON.stringify({ at: iso(1), feeder: "rowan", check: "slept" }), /^line 2: check: /],
    ["another value of orders", JSON.stringify({ at: iso(1), feeder: "rowan", orders: "lost" }), /^line 2: orders: /],
    ["a refill without what", keeper(1, { refill: {} }), /^line 2: keeper\.refill: must have exactly one of grams/],
    ["an unknown fault", keeper(1, { acknowledge: { fault: "gremlins" } }), /^line 2: keeper\.acknowledge\.fault: /],
    ["a shelf without end", keeper(1, { shelve: { fault: "foodOut" } }), /^line 2: keeper\.shelve\.until: /],
    ["a truth's phase", truth(1, "foodOut", "middle"), /^line 2: truth\.phase: /],
  ])("is reported with its number and its field (%s), and the rest goes on", async (_what, bad, problem) => {
    const { wrong, output, problems } = await replay([report(0), bad, "", report(2)], { summary: true });
    expect(wrong).toBe(1);
    expect(problems[0]).toMatch(problem);
    expect(problems.every((text) => text.startsWith("line 2: "))).toBe(true);
    expect(output.at(-1)).toMatchObject({ summary: { reports: 2 } });
  });

  it("is reported with all of its wrong fields", async () => {
    const { wrong, problems } = await replay([settings(0, { portionGrams: 0, battery: "potato" })]);
    expect(wrong).toBe(1);
    expect(problems).toEqual([
      expect.stringContaining("line 1: settings.portionGrams"),
      expect.stringContaining("line 1: settings.battery"),
    ]);
  });

  it("may be a report that fits no start of its boot id, which the server refuses too", async () => {
    const { wrong, problems } = await replay([report(100), report(101, { sentUptimeMs: 3_600_000 }), report(102)]);
    expect(wrong).toBe(1);
    expect(problems[0]).toMatch(/^line 2: report\.boot: fits no start/);
  });

  it("is not a report of which the server rejects only an event or a reading; those are counted", async () => {
    const readings = { airCelsius: -127 };
    const events = [{ seq: 1, uptimeMs: 10 ** 12, kind: "press" }];
    const { wrong, problems, output } = await replay([report(0, { readings, events })], { summary: true });
    expect(wrong).toBe(0);
    expect(problems).toEqual(["2 events or readings were rejected, as the server rejects them"]);
    expect(output.at(-1)).toMatchObject({ summary: { reports: 1, events: 0, refused: 2 } });
  });
});
