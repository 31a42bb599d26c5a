import { describe, expect, it } from "vitest";
import type { WorldFault, WorldMoment } from "../world.ts";
import { augerWorld } from "./augerWorld.ts";
import { daylightOf } from "./sun.ts";
import { day, hour } from "./time.ts";
import { eventsOf, mean, numbers, readingsOf, seeds, storyOf, tell } from "./toldStory.ts";

const isNight = (at: number): boolean => at < daylightOf(at).sunrise - hour || at > daylightOf(at).sunset + hour;
describe("a planted fault", () => {
  const at = 4 * day;
  /** What is seen and true before and after it begins; after an hour, when all that was under way has ended. */
  const plant = (kind: WorldFault, seed: number, days = 7) => {
    const moments = tell({ seed, days, fault: { kind, at } });
    const since = (moments[0]?.line.at ?? 0) + at;
    const split = <Item extends { readonly at: number }>(items: readonly Item[]) => ({
      before: items.filter((item) => item.at < since),
      after: items.filter((item) => item.at > since + hour),
    });
    const truths = split(moments.map(({ truth }) => truth));
    expect(new Set(truths.before.map(({ faultSince }) => faultSince))).toEqual(new Set([null]));
    expect(new Set(truths.after.map(({ faultSince }) => faultSince))).toEqual(new Set([since]));
    const ofKind = (name: string) => split(eventsOf(moments).filter(({ kind: each }) => each === name));
    return { moments, since, truths, ofKind, readings: split(readingsOf(moments)) };
  };
  const fallen = (truths: readonly WorldMoment["truth"][]) => ({
    pieces: (truths.at(-1)?.pieces ?? 0) - (truths[0]?.pieces ?? 0),
    portions: (truths.at(-1)?.portions ?? 0) - (truths[0]?.portions ?? 0),
  });
  const each = (kind: WorldFault, check: (planted: ReturnType<typeof plant>) => void, days?: number) => {
    for (const seed of seeds) check(plant(kind, seed, days));
  };

  it("motorWireOff: no piece falls any more, and no current flows", () => {
    each("motorWireOff", ({ truths, ofKind }) => {
      const { pieces, portions } = fallen(truths.after);
      expect(pieces).toBe(0);
      expect(portions).toBeGreaterThan(0);
      expect(truths.after.at(-1)?.unfed).toBeGreaterThanOrEqual(portions);
      const { before, after } = ofKind("portion");
      expect(mean(numbers(after, "meanMilliamps"))).toBeLessThan(0.4 * mean(numbers(before, "meanMilliamps")));
    });
  });

  it("motorStalled: no piece falls, at the current of a motor that stands", () => {
    each("motorStalled", ({ truths, ofKind }) => {
      expect(fallen(truths.after).pieces).toBe(0);
      const { before, after } = ofKind("portion");
      expect(mean(numbers(after, "meanMilliamps"))).toBeGreaterThan(1.5 * mean(numbers(before, "meanMilliamps")));
    });
  });

  it("trayJammed: no piece falls, the motor turns against it", () => {
    each("trayJammed", ({ truths, ofKind }) => {
      expect(fallen(truths.after).pieces).toBe(0);
      const { before, after } = ofKind("portion");
      expect(mean(numbers(after, "meanMilliamps"))).toBeGreaterThan(1.15 * mean(numbers(before, "meanMilliamps")));
    });
  });

  it("trayPartlyJammed: a tenth to a half of the usual comes out", () => {
    each("trayPartlyJammed", ({ truths }) => {
      const [before, after] = [fallen(truths.before), fallen(truths.after)];
      const share = after.pieces / after.portions / (before.pieces / before.portions);
      expect(share).toBeGreaterThan(0.05);
      expect(share).toBeLessThan(0.6);
    });
  });

  it("foodBridged: the hopper keeps its food, and after some portions nothing comes", () => {
    each("foodBridged", ({ truths }) => {
      const late = truths.after.slice(Math.floor(truths.after.length / 2));
      expect(fallen(late).pieces).toBe(0);
      expect(fallen(late).portions).toBeGreaterThan(0);
      expect(late.at(-1)?.grams).toBeGreaterThan(20);
      expect(late.at(-1)?.emptySince).toBeNull();
    });
  });

  it("foodOut: nobody refills, though the phone asks", () => {
    const story = storyOf({ seed: 3, days: 30, fault: { kind: "foodOut", at } });
    const moments = [...augerWorld.tell(story, { asksForFood: true })];
    const food = moments.filter(({ truth }) => truth.faultSince !== null).map(({ truth }) => truth.gramsOnScale);
    expect(food).toEqual(food.toSorted((a, b) => b - a));
    expect(moments.at(-1)?.truth.emptySince).not.toBeNull();
  });

  it("chuteBlind: nothing is counted, though pieces fall", () => {
    each("chuteBlind", ({ truths, ofKind }) => {
      const { before, after } = ofKind("portion");
      expect(fallen(truths.after).pieces).toBeGreaterThan(0);
      expect(Math.max(...numbers(after, "chuteCount"))).toBe(0);
      expect(Math.max(...numbers(before, "chuteCount"))).toBeGreaterThan(0);
    });
  });

  it("chuteDirty: counts less and less, and nothing after a week", () => {
    each(
      "chuteDirty",
      ({ since, ofKind }) => {
        const counts = (from: number, to: number) =>
          numbers(
            ofKind("portion").after.filter((event) => event.at > since + from * day && event.at < since + to * day),
            "chuteCount",
          );
        expect(Math.max(...counts(0, 1.5))).toBeGreaterThan(0);
        expect(Math.max(...counts(7, 12))).toBe(0);
      },
      13,
    );
  });

  it("scaleStuck: the same reading, or nearly, for ever", () => {
    each("scaleStuck", ({ readings }) => {
      const grams = readings.after.map(({ readings: { hopperGrams } }) => hopperGrams as number);
      expect(new Set(grams).size).toBeLessThanOrEqual(3);
      expect(new Set(readings.before.map(({ readings: { hopperGrams } }) => hopperGrams)).size).toBeGreaterThan(3);
    });
  });

  it("scaleDead: readings are null or left out", () => {
    each("scaleDead", ({ readings }) => {
      expect(readings.after.every(({ readings: { hopperGrams } }) => (hopperGrams ?? null) === null)).toBe(true);
      expect(readings.before.some(({ readings: { hopperGrams } }) => typeof hopperGrams === "number")).toBe(true);
    });
  });

  it("detectorDeaf: no deposit is metal, and the slot's beam still sees them", () => {
    let seenByBeam = 0;
    each("detectorDeaf", ({ ofKind }) => {
      const { before, after } = ofKind("deposit");
      expect(before.some(({ body }) => body.metal === true)).toBe(true);
      expect(after.some(({ body }) => body.metal === true)).toBe(false);
      seenByBeam += after.length;
    });
    expect(seenByBeam).toBeGreaterThan(0);
  });

  it("buttonDead and perchDead: no press, no visit, and birds still come", () => {
    for (const [fault, kind] of [["buttonDead", "press"] as const, ["perchDead", "visit"] as const]) {
      each(fault, ({ truths, ofKind }) => {
        expect(ofKind(kind).before.length).toBeGreaterThan(0);
        expect(ofKind(kind).after.length).toBe(0);
        expect(truths.after.at(-1)?.bouts).toBeGreaterThan(truths.after[0]?.bouts ?? 0);
      });
    }
  });

  it("paysNoMore: caps are found as before and none is paid; presses are", () => {
    each("paysNoMore", ({ ofKind }) => {
      const [portions, deposits] = [ofKind("portion"), ofKind("deposit")];
      const caused = (part: typeof portions.after, cause: string) =>
        part.filter(({ body }) => body.cause === cause).length;
      expect(caused(portions.before, "deposit")).toBeGreaterThan(0);
      expect(caused(portions.after, "deposit")).toBe(0);
      expect(caused(portions.after, "press")).toBeGreaterThan(0);
      expect(deposits.after.filter(({ body }) => body.metal === true).length).toBeGreaterThan(0);
    });
  });

  it("buttonChatters: presses also at night, paid as the program pays, three seconds apart", () => {
    let byNight = 0;
    each("buttonChatters", ({ moments, truths, ofKind }) => {
      const dark = moments.filter(({ truth }) => !truth.daylight && truth.faultSince !== null);
      const portions = new Set(dark.map(({ truth }) => truth.portions)).size;
      byNight += portions;
      expect(ofKind("press").before.filter((event) => isNight(event.at)).length).toBe(0);
      expect(ofKind("press").after.filter((event) => isNight(event.at)).length).toBeGreaterThan(5);
      expect(fallen(truths.after).portions).toBeGreaterThan(0);
      const times = ofKind("portion").after.map((event) => event.at);
      const gaps = times.slice(1).map((time, index) => time - (times[index] as number));
      expect(Math.min(...gaps)).toBeGreaterThan(2_500); // where the end is told, runs of unlike length bring it closer
    });
    expect(byNight).toBeGreaterThan(5);
  });

  it("thermometerStuck: the air stays as warm as it was", () => {
    each("thermometerStuck", ({ readings }) => {
      expect(new Set(readings.after.map(({ readings: { airCelsius } }) => airCelsius)).size).toBe(1);
      expect(new Set(readings.before.map(({ readings: { airCelsius } }) => airCelsius)).size).toBeGreaterThan(3);
    });
  });
});
