import { describe, expect, it } from "vitest";
import type { Alarm } from "../../server/domain/alarms/alarm.ts";
import { type FaultKind, faultKinds, ruleOf } from "../../server/domain/faults.ts";
import { newFeeder } from "../../server/domain/feeder.ts";
import { initialRollups } from "../../server/domain/history/rollups.ts";
import { instantOf } from "../../server/domain/instant.ts";
import { defaultSettings } from "../../server/flows/pure/requestedSettings.ts";
import { feederView } from "../../server/flows/views.ts";

const now = instantOf("2026-11-25T08:00:00Z");
const settings = defaultSettings({ practice: false, place: null, zone: "Europe/Stockholm" }, "Rowan");

const raised = (kind: FaultKind): Alarm => ({
  state: "unacknowledged",
  priority: ruleOf(kind).priority,
  since: now,
  present: true,
  raisedAt: now,
  notifiedPriority: ruleOf(kind).priority,
  absentSince: null,
  finding: { reason: `Planted: ${kind}.`, evidence: [], confidence: null },
});

const shownOf = (alarms: { readonly [kind in FaultKind]?: Alarm }) => {
  const state = { ...newFeeder(settings, now), alarms };
  const row = {
    ...{ id: "rowan", yard: "alder-croft", practice: false, revision: 1, addedAt: now, lastReportAt: null },
    ...{ lastStepAt: now, rebuiltAt: null, state, rollups: initialRollups() },
  };
  return feederView(row, now).alarms;
};

describe("a feeder's alarms, as they are shown", () => {
  it("name the explaining alarm, by whom, since when and why one is out of service, and which raise it is", () => {
    const { state, raisedAt, notifiedPriority, absentSince, ...standing } = raised("trayJammed") as never as Record<
      string,
      unknown
    >;
    const hidden = {
      ...standing,
      state: "suppressedByDesign",
      reason: "Caused by: tray jammed.",
      explainedBy: "trayJammed",
      raised: null,
    };
    const outOfService = {
      ...standing,
      state: "outOfService",
      outSince: now,
      outBy: "Bo",
      outReason: "The perch is off.",
      latch: null,
    };
    const alarms = { trayJammed: raised("trayJammed"), depositUnpaid: hidden, perchSilent: outOfService };
    const by = new Map(shownOf(alarms as never).map((one) => [one.fault, one]));
    const at = "2026-11-25T08:00:00.000Z";
    expect(by.get("trayJammed")).toMatchObject({
      explains: ["deposit without a portion"],
      explainedBy: null,
      raisedAt: at,
    });
    expect(by.get("depositUnpaid")).toMatchObject({ explains: [], explainedBy: "tray jammed", raisedAt: null });
    expect(by.get("perchSilent")?.outOfService).toEqual({ by: "Bo", since: at, reason: "The perch is off." });
  });

  it("have texts for every fault, in the order urgent, soon, note", () => {
    const alarms = Object.fromEntries(faultKinds.map((kind) => [kind, raised(kind)]));
    const state = { ...newFeeder(settings, now), alarms };
    const row = {
      ...{ id: "rowan", yard: "alder-croft", practice: false, revision: 1, addedAt: now, lastReportAt: null },
      ...{ lastStepAt: now, rebuiltAt: null, state, rollups: initialRollups() },
    };
    const shown = feederView(row, now).alarms;
    expect(new Set(shown.map(({ fault }) => fault))).toEqual(new Set(faultKinds));
    const order = shown.map(({ priority }) => ["urgent", "soon", "note"].indexOf(priority));
    expect(order).toEqual([...order].sort());
    expect(new Set(order)).toEqual(new Set([0, 1, 2])); // and there are some of each
    for (const { fault, title, advice, reason } of shown) {
      expect(title, fault).toMatch(/^[a-z]/);
      expect(advice, fault).toMatch(/^[A-Z].*\.$/);
      expect(reason).toContain(`Planted: ${fault}.`);
    }
  });
});
