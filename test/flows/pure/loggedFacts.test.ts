import { describe, expect, it } from "vitest";
import { logLineSchemas } from "../../../server/contract/feederLog.ts";
import type { BenchAct } from "../../../server/domain/benchRun/advanceBench.ts";
import { after, days, hours, instantOf, minutes } from "../../../server/domain/instant.ts";
import { grams } from "../../../server/domain/units.ts";
import { factOf, type KeeperFact, logEntryOf } from "../../../server/flows/pure/logEntry.ts";
import { newOrder } from "../../../server/flows/pure/newOrder.ts";
import { changeSettings, defaultSettings, withSettings } from "../../../server/flows/pure/requestedSettings.ts";

const at = instantOf("2026-01-15T12:00:00Z");
const place = { latitudeDegrees: 59.5, longitudeDegrees: 17.8 };
const before = defaultSettings({ practice: false, place, zone: "Europe/Stockholm" }, "Rowan");
const sensors = { button: true, detector: false, chute: true, perch: true, scale: true };

const facts: readonly (readonly [string, KeeperFact])[] = [
  ["food added", { kind: "refillReported", refill: { at, what: { kind: "added", grams: grams(312.5) } } }],
  ["filled two hours ago", { kind: "refillReported", refill: { at: after(at, hours(-2)), what: { kind: "filled" } } }],
  ["a level", { kind: "refillReported", refill: { at, what: { kind: "level", grams: grams(0) } } }],
  ["cleaned just now", { kind: "cleaned", at, by: "Asta" }],
  ["cleaned yesterday", { kind: "cleaned", at: after(at, days(-1)), by: "Asta" }],
  ["a pause", orderAsked("pause", after(at, minutes(90)))],
  ["a pause without end", orderAsked("pause", null)],
  ["a resume", orderAsked("resume", null)],
  ["an order that left", { kind: "ordersSent" }],
  ["an alarm seen", { kind: "alarmAcknowledged", fault: "foodOut", by: "Asta", raisedAt: null }],
  [
    "one raise seen as it called then",
    { kind: "alarmAcknowledged", fault: "supplyWeak", by: "Asta", raisedAt: at, notifiedPriority: "soon" },
  ],
  ["one raise seen", { kind: "alarmAcknowledged", fault: "foodOut", by: "Asta", raisedAt: after(at, minutes(-7)) }],
  ["an alarm reset", { kind: "alarmReset", fault: "batteryFreezing", by: "Asta" }],
  ["out of service", { kind: "alarmTakenOutOfService", fault: "perchSilent", reason: "The perch is off.", by: "Asta" }],
  ["back in service", { kind: "alarmReturnedToService", fault: "perchSilent", by: "Asta" }],
  ["an alarm put aside", { kind: "alarmShelved", fault: "foodOut", until: after(at, days(3)), by: "Asta" }],
  [
    "a bench run",
    benchAct({
      ...{ kind: "start", run: "run-1234" },
      plan: { quiet: minutes(2), portions: 60, caps: 30, presses: 0, knownMass: grams(500), soak: hours(8) },
    }),
  ],
  ["food weighed on the bench", benchAct({ ...nextStep("weigh"), weighed: { total: grams(120.5), empty: null } })],
  ["caps dropped on the bench", benchAct(nextStep("caps"))],
  ["a bench run stopped", benchAct({ kind: "stop", run: "run-1234" })],
  ["settings changed", settingsChanged(withSettings(before, { name: "Rowan at the gate", warnAheadDays: 1.3 }))],
  ["sensors chosen", settingsChanged(changeSettings(before, { sensors }))],
  ["put away", settingsChanged(withSettings(before, { placement: "putAway" }))],
  ["a yard moved", settingsChanged({ ...before, zone: "Europe/Oslo", place: null })],
  ["grains counted", settingsChanged(withSettings(before, { foodKind: "peanutHalves", grainsPerPortion: 4 } as never))],
];

function benchAct(act: BenchAct): KeeperFact {
  return { kind: "benchAct", act, by: "Asta" };
}
function nextStep(step: "weigh" | "caps") {
  return { kind: "next", run: "run-1234", step } as const;
}
function orderAsked(kind: "pause" | "resume", until: typeof at | null): KeeperFact {
  return { kind: "orderRequested", order: newOrder({ id: "order-1234", kind, until, by: "Asta" }, at) };
}
function settingsChanged(settings: typeof before): KeeperFact {
  return { kind: "settingsChanged", settings };
}

describe("what was done to a feeder, as a log entry", () => {
  it.each(facts)("is a line of the contract and gives the same fact again: %s", (_what, fact) => {
    const entry = JSON.parse(JSON.stringify(logEntryOf(fact, at, "Asta")));
    const kind = "settings" in entry ? "settings" : "orders" in entry ? "orders" : "keeper";
    const line = logLineSchemas[kind].parse({ at: "2026-01-15T12:00:00Z", feeder: "rowan", ...entry });
    expect(factOf(line as never, at, before)).toEqual(fact);
    const another = defaultSettings({ practice: true, place: null, zone: "UTC" }, "Larch");
    expect(factOf(line as never, at, another)).toEqual(fact); // whatever the earlier settings
  });

  it("has its author, where there is one", () => {
    const [, fact] = facts[0] as (typeof facts)[number];
    expect(logEntryOf(fact, at, "Asta")).toMatchObject({ keeper: { by: "Asta" } });
    expect(logEntryOf(settingsChanged(before), at, "Asta")).toMatchObject({ by: "Asta" });
    expect(logEntryOf(settingsChanged(before), at, null)).not.toHaveProperty("by");
  });
});
