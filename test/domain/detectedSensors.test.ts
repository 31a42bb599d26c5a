import { describe, expect, it } from "vitest";
import { withDetectedSensors } from "../../server/domain/detectedSensors.ts";
import { instantOf, milliseconds } from "../../server/domain/instant.ts";
import type { EventContent, FeederEvent, Report } from "../../server/domain/report.ts";
import { grams } from "../../server/domain/units.ts";
import { feederSettings } from "../support/feederSettings.ts";
import { barePortion } from "./portionFixture.ts";
import { emptyReadings } from "./silence/larch.ts";

const at = instantOf("2026-01-15T09:00:00Z");
const none = { button: false, detector: false, chute: false, perch: false, scale: false };
const report = (happenings: EventContent[], hopperGrams: number | null = null): Report => ({
  boot: "b-1",
  sentUptime: milliseconds(60_000),
  readings: { ...emptyReadings, hopper: hopperGrams === null ? null : grams(hopperGrams) },
  rejectedReadings: [],
  events: happenings.map((happening, index): FeederEvent => ({ ...happening, seq: index + 1, recordedAt: at })),
});
const portion = (chuteCount: number | null): EventContent => ({
  ...barePortion,
  chuteCount,
});

describe("sensors that report before the keeper has entered them", () => {
  const open = feederSettings({ sensors: none, detectsSensors: true });

  it.each<[string, Report, Partial<typeof none>]>([
    ["a press", report([{ kind: "press" }]), { button: true }],
    ["a deposit", report([{ kind: "deposit", metal: true, signal: null, chute: null }]), { detector: true }],
    ["a visit", report([{ kind: "visit" }]), { perch: true }],
    ["a counted portion, also one where nothing fell", report([portion(0)]), { chute: true }],
    ["a weight", report([], 812), { scale: true }],
    ["a portion without a count", report([portion(null)]), {}],
    ["silence", report([]), {}],
  ])("are noticed by %s", (_what, received, more) => {
    expect(withDetectedSensors(open, received).sensors).toEqual({ ...none, ...more });
  });

  it("stay as the keeper entered them once the keeper has changed them", () => {
    const said = feederSettings({ sensors: none });
    expect(withDetectedSensors(said, report([{ kind: "press" }], 812))).toBe(said);
  });

  it("are never forgotten again by a report that doesn't mention them", () => {
    const all = feederSettings({ sensors: { ...none, scale: true }, detectsSensors: true });
    expect(withDetectedSensors(all, report([]))).toBe(all);
  });
});
