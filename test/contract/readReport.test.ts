import { describe, expect, it } from "vitest";
import { readReport } from "../../server/contract/readReport.ts";

describe("a number that no such sensor can measure", () => {
  it("is rejected by its name, once, and the rest of the report is read", () => {
    const read = readReport({
      boot: "b-1",
      sentUptimeMs: 1_000,
      readings: { insideCelsius: -127, humidityPercent: 250, airCelsius: -3.5 },
    });
    if (read.kind === "unreadable") throw new Error(JSON.stringify(read.errors));
    expect(read.report.rejectedReadings).toEqual(["insideCelsius", "humidityPercent"]);
    expect(read.report.readings).toMatchObject({ inside: null, humidity: null, air: -3.5 });
    expect(read.report.refused.map(({ seq, field }) => [seq, field])).toEqual([
      [null, "readings.insideCelsius"],
      [null, "readings.humidityPercent"],
    ]);
  });

  it("is none in a report of a healthy feeder", () => {
    const read = readReport({ boot: "b-1", sentUptimeMs: 1_000, readings: { airCelsius: -3.5 } });
    expect(read).toMatchObject({ kind: "read", report: { rejectedReadings: [], refused: [] } });
  });
});
