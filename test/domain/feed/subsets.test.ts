import { describe, expect, it } from "vitest";
import type { FaultKind } from "../../../server/domain/faults.ts";
import { hours, type Span } from "../../../server/domain/instant.ts";
import { rowanSettings } from "../hopper/rowan.ts";
import { FeedModel, type PlantedFeedFault } from "./feedModel.ts";

interface Row {
  readonly chute: boolean;
  readonly current: boolean;
  readonly scale: boolean;
  readonly planted: PlantedFeedFault | "empty";
  readonly called: FaultKind;
  readonly portions?: number; // given with the fault, thirty where it is left out
  readonly waits?: Span; // after the last portion; nothing is told before
  readonly says?: string; // what can't be told apart, and without which sensor
}

const noCurrent = "Without the motor's current a jammed tray and a tray without food look the same.";
const noScale = "Without a scale a blind chute sensor looks the same.";
const noChute = "Without a chute sensor a stuck scale looks the same.";

const all = { chute: true, current: true, scale: true };
const withoutScale = { ...all, scale: false };
const withoutCurrent = { ...all, current: false };
const withoutChute = { ...all, chute: false };
const onlyChute = { chute: true, current: false, scale: false };
const onlyScale = { chute: false, current: false, scale: true };
const onlyMotor = { chute: false, current: true, scale: false };

const rows: readonly Row[] = [
  { ...all, planted: "empty", called: "foodOut" },
  { ...all, planted: "feedBridged", called: "feedBridged" },
  { ...all, planted: "trayJammed", called: "trayJammed" },
  { ...all, planted: "motorStalled", called: "motorStalled" },
  { ...all, planted: "wireOff", called: "motorNotTurning" },
  { ...all, planted: "chuteBlind", called: "chuteBlind" },
  // A sensor that misses every other portion looks much like a feeder whose empty portions come in runs: of a hundred such sensors half were
  // known after 26 portions, the last after 86 (eleven and seventeen, were each empty portion a sign of a fault).
  { ...all, planted: "chuteHalfBlind", called: "chuteBlind", portions: 60 },
  { ...all, planted: "scaleStuck", called: "scaleSilent" },
  { ...all, planted: "scaleAtZero", called: "scaleSilent" },

  { ...withoutScale, planted: "trayJammed", called: "trayJammed" },
  { ...withoutScale, planted: "motorStalled", called: "motorStalled" },
  { ...withoutScale, planted: "wireOff", called: "motorNotTurning" },
  { ...withoutScale, planted: "chuteBlind", called: "feedStopped", says: noScale },

  { ...withoutCurrent, planted: "empty", called: "foodOut" },
  { ...withoutCurrent, planted: "trayJammed", called: "feedStopped", says: noCurrent },
  { ...withoutCurrent, planted: "motorStalled", called: "feedStopped", says: noCurrent },
  { ...withoutCurrent, planted: "wireOff", called: "feedStopped", says: noCurrent },
  { ...withoutCurrent, planted: "chuteBlind", called: "chuteBlind" },
  { ...withoutCurrent, planted: "scaleStuck", called: "scaleSilent" },

  { ...withoutChute, planted: "empty", called: "foodOut" },
  { ...withoutChute, planted: "trayJammed", called: "trayJammed" },
  { ...withoutChute, planted: "motorStalled", called: "motorStalled" },
  { ...withoutChute, planted: "wireOff", called: "motorNotTurning" },

  { ...onlyChute, planted: "trayJammed", called: "feedStopped", says: noCurrent },
  { ...onlyChute, planted: "feedBridged", called: "feedStopped", says: noCurrent },
  { ...onlyChute, planted: "chuteBlind", called: "feedStopped", says: noScale },

  // Sun and damp move a scale for hours: it alone is believed after three.
  { ...onlyScale, planted: "trayJammed", called: "feedStopped", says: noChute, waits: hours(3) },
  { ...onlyScale, planted: "scaleStuck", called: "feedStopped", says: noChute, waits: hours(3) },

  { ...onlyMotor, planted: "motorStalled", called: "motorStalled" },
  { ...onlyMotor, planted: "wireOff", called: "motorNotTurning" },
];

const fittedWords = ({ chute, current, scale }: Row) =>
  [chute && "chute sensor", current && "motor current", scale && "scale"].filter(Boolean).join(", ");

/** A feeder whose eight grams a portion a scale sees well; a bridged or empty tray shrinks over three portions. */
function broken({ chute, current, scale, planted, portions = 30 }: Row, seed: number): FeedModel {
  const options = { seed, currentKnown: current, poured: planted === "empty" ? 1_216 : 1_800 };
  const bench = new FeedModel(rowanSettings({ chute, scale }), options).give(140);
  expect(bench.kinds, `seed ${seed}, before`).toEqual([]);
  return (planted === "empty" ? bench : bench.plant(planted)).give(portions);
}

describe("whatever sensors are fitted", () => {
  it.each(rows.map((row) => [fittedWords(row), row.planted, row.called, row] as const))(
    "with %s, %s is called %s",
    (_fitted, _planted, called, row) => {
      for (const seed of [10_002, 10_003, 10_004]) {
        const model = broken(row, seed);
        if (row.waits !== undefined) expect(model.kinds, `seed ${seed}, before`).toEqual([]);
        const [fault] = model.faultsAfter(row.waits);
        expect(fault?.kind, `seed ${seed}: ${fault?.reason}`).toBe(called);
        if (row.says !== undefined) expect(fault?.reason, `seed ${seed}`).toContain(row.says);
        expect(fault?.confidence ?? 0).toBeGreaterThan(0.5);
        expect(fault?.evidence.length).toBeGreaterThan(2);
      }
    },
  );
});
