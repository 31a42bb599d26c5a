import { describe, expect, it } from "vitest";
import { after, days, hours, instantOf } from "../../server/domain/instant.ts";
import { compareSettings } from "../../server/flows/compareSettings.ts";
import type { ComparisonRequest, LogLine, RecordedLog } from "../../server/ports.ts";
import { PackDamaged } from "../../server/ports.ts";

const addedAt = instantOf("2026-01-01T00:00:00Z");
const settings = { name: "Rowan", zone: "UTC", reportEverySeconds: 3_600 };

/** A hundred days with a report an hour. */
const lines: readonly LogLine[] = [
  { step: 0, at: addedAt, content: { kind: "entry", entry: JSON.stringify({ settings }) } },
  ...Array.from({ length: 2_400 }, (_, index): LogLine => {
    const at = after(addedAt, hours(index + 1));
    const report = { kind: "report", boot: "b-1", sentUptimeMs: at - addedAt, seqs: "", bootedAt: null } as const;
    return { step: index + 1, at, content: { ...report, eventSpan: null, recalled: [], readings: "{}", events: "[]" } };
  }),
];

const log = (read: RecordedLog["lines"]): RecordedLog => ({
  lines: read,
  thinnedUntil: async () => null,
  thinnedState: async () => null,
});
const readLines: RecordedLog["lines"] = async (_, last, through, most) =>
  lines.filter(({ step }) => last < step && step <= through).slice(0, most);

const to = after(addedAt, days(100));
const request = (daysBack: number): ComparisonRequest => ({
  feeder: { id: "rowan", addedAt, revision: 2_400 },
  settings,
  overrides: [{}, { warnAheadDays: 3 }],
  from: after(to, -days(daysBack) as never),
  to,
});

describe("where a comparison begins", () => {
  it("is the first line of a log that doesn't go back much further", async () => {
    const found = await compareSettings(log(readLines), request(45));
    expect(found).toMatchObject({ begun: "firstLine", replayedFrom: addedAt, isIncomplete: false });
    expect(found.from).toBe(after(to, -days(45) as never));
  });

  it("is sixty days before the span in a log that goes back further, found without reading all of it", async () => {
    let read = 0;
    const counting: RecordedLog["lines"] = async (feeder, last, through, most) => {
      const page = await readLines(feeder, last, through, most);
      read += page.length;
      return page;
    };
    const found = await compareSettings(log(counting), request(1));
    const begun = after(to, -days(61) as never);
    expect(found).toMatchObject({ begun: "middle", replayedFrom: begun, from: after(to, -days(1) as never) });
    expect(read).toBeLessThan(61 * 24 + 20);
    expect(read).toBeGreaterThan(61 * 24);
  });

  it("leaves out what can't be read, and says so", async () => {
    const damaged: RecordedLog["lines"] = async (feeder, last, through, most) => {
      if (last >= 99 && last < 120) {
        const span = {
          firstStep: 100,
          lastStep: 120,
          firstAt: lines[100]?.at as never,
          lastAt: lines[120]?.at as never,
        };
        throw new PackDamaged("rowan", span);
      }
      return readLines(feeder, last, through, last < 99 ? Math.min(most, 99 - last) : most);
    };
    expect(await compareSettings(log(damaged), request(100))).toMatchObject({ isIncomplete: true });
  });
});
