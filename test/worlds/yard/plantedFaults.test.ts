import { describe, expect, it } from "vitest";
import { type WorldFault, type WorldTruth, worldFaults } from "../world.ts";
import { dayLong, eventsOf, readingsOf, sumOf, tell } from "./toldStory.ts";
import { yardWorld } from "./yardWorld.ts";

const faultAt = 3 * dayLong;

/** Seven days of a feeder whose fault begins after three; `after` leaves out the hour in which it begins. */
function plant(kind: WorldFault, days = 7) {
  const moments = tell({ seed: 3, days, fault: { kind, at: faultAt } });
  const since = (moments[0]?.line.at ?? 0) + faultAt;
  const split = <Item extends { readonly at: number }>(items: readonly Item[]) => ({
    before: items.filter(({ at }) => at < since),
    after: items.filter(({ at }) => at > since + dayLong / 24),
  });
  const truths = split(moments.map(({ truth }) => truth));
  const readings = split(moments.map((moment) => ({ at: moment.line.at, values: readingsOf([moment])[0] ?? {} })));
  return { moments, since, truths, readings, ofKind: (name: string) => split(eventsOf(moments, name)) };
}

const fallen = (truths: readonly WorldTruth[]) => ({
  pieces: (truths.at(-1)?.pieces ?? 0) - (truths[0]?.pieces ?? 0),
  portions: (truths.at(-1)?.portions ?? 0) - (truths[0]?.portions ?? 0),
});
const meanOf = (events: ReturnType<typeof eventsOf>, name: string): number => sumOf(events, name) / events.length;

describe("a fault planted in the yard", () => {
  it("that this world has no physics for is refused by its name", () => {
    expect(yardWorld.neverPlants).toEqual(["paysNoMore"]);
    expect(() => plant("paysNoMore")).toThrow(new RangeError("the yard has no physics for the fault paysNoMore"));
  });

  it.each(worldFaults.filter((kind) => !yardWorld.neverPlants?.includes(kind)))(
    "begins when it is told, and changes nothing before: %s",
    (kind) => {
      const healthy = tell({ seed: 3, days: 4 });
      const faulty = tell({ seed: 3, days: 4, fault: { kind, at: faultAt } });
      const since = (healthy[0]?.line.at ?? 0) + faultAt;
      const early = faulty.filter(({ line }) => line.at < since);
      expect(JSON.stringify(early)).toBe(JSON.stringify(healthy.slice(0, early.length)));
      expect(faulty.slice(early.length).every(({ truth }) => truth.faultSince === since)).toBe(true);
      expect(early.length).toBeLessThan(faulty.length);
    },
  );

  it.each(["trayJammed", "motorStalled", "motorWireOff"] as const)("%s: it runs and nothing comes out", (kind) => {
    const { truths } = plant(kind);
    expect(fallen(truths.after).pieces).toBe(0);
    expect(fallen(truths.after).portions).toBeGreaterThan(10);
    expect(truths.after.at(-1)?.unfed).toBeGreaterThanOrEqual(fallen(truths.after).portions);
  });

  it("motor current: heavier in a jam, several times as much in a stall, nearly none without a wire", () => {
    const ratio = (kind: WorldFault) => {
      const { before, after } = plant(kind).ofKind("portion");
      return meanOf(after, "meanMilliamps") / meanOf(before, "meanMilliamps");
    };
    expect(ratio("trayJammed")).toBeGreaterThan(1.03);
    expect(ratio("motorStalled")).toBeGreaterThan(2);
    expect(ratio("motorWireOff")).toBeLessThan(0.1);
  });

  it("trayPartlyJammed: a tenth to half of the usual comes out", () => {
    const { truths } = plant("trayPartlyJammed");
    const share = (of: readonly WorldTruth[]) => fallen(of).pieces / fallen(of).portions;
    expect(share(truths.after) / share(truths.before)).toBeGreaterThan(0.05);
    expect(share(truths.after) / share(truths.before)).toBeLessThan(0.55);
    const last = (of: readonly WorldTruth[]) => of.at(-1)?.portionGrams ?? 0;
    expect(last(truths.after)).toBeLessThan(0.6 * last(truths.before));
  });

  it("foodBridged: the tray empties, then nothing comes though the hopper has food", () => {
    const { truths } = plant("foodBridged");
    const late = truths.after.slice(Math.floor(truths.after.length / 2));
    expect(fallen(late).pieces).toBe(0);
    expect(fallen(late).portions).toBeGreaterThan(0);
    expect(late.at(-1)?.grams).toBeGreaterThan(50);
    expect(late.at(-1)?.emptySince).toBeNull();
  });

  it("foodOut: nobody refills any more, though the phone asks", () => {
    const rises = (truths: readonly WorldTruth[]) =>
      truths.filter(({ grams }, index) => grams > (truths[index - 1]?.grams ?? grams)).length;
    const moments = tell({ seed: 3, days: 60, fault: { kind: "foodOut", at: 20 * dayLong } }).map(({ truth }) => truth);
    expect(rises(moments.filter(({ faultSince }) => faultSince === null))).toBeGreaterThan(0);
    expect(rises(moments.filter(({ faultSince }) => faultSince !== null))).toBe(0);
    expect(moments.at(-1)?.emptySince).not.toBeNull();
  });

  it("chuteBlind: nothing is counted, whatever falls", () => {
    const { truths, ofKind } = plant("chuteBlind");
    expect(fallen(truths.after).pieces).toBeGreaterThan(0);
    expect(sumOf(ofKind("portion").after, "chuteCount")).toBe(0);
    expect(sumOf(ofKind("portion").before, "chuteCount")).toBeGreaterThan(0);
  });

  it("chuteDirty: it counts less by the day, and nothing after a week", () => {
    const { since, ofKind } = plant("chuteDirty", 13);
    const { before, after } = ofKind("portion");
    const counted = (from: number, to: number) =>
      meanOf(
        after.filter(({ at }) => at >= since + from * dayLong && at < since + to * dayLong),
        "chuteCount",
      );
    expect(counted(0, 2)).toBeLessThan(meanOf(before, "chuteCount"));
    expect(counted(0, 2)).toBeGreaterThan(counted(3, 5));
    expect(counted(3, 5)).toBeGreaterThan(0);
    expect(counted(7, 10)).toBe(0);
  });

  it("scaleStuck and scaleDead: the same reading or nearly, or none", () => {
    const grams = ({ readings }: ReturnType<typeof plant>) =>
      readings.after.flatMap(({ values }) => (values.hopperGrams as number | undefined) ?? []);
    const stuck = grams(plant("scaleStuck"));
    expect(stuck.length).toBeGreaterThan(500);
    expect(Math.max(...stuck) - Math.min(...stuck)).toBeLessThan(4);
    expect(grams(plant("scaleDead"))).toEqual([]);
  });

  it("detectorDeaf: no metal is found any more, and the beam still sees what falls", () => {
    const { before, after } = plant("detectorDeaf").ofKind("deposit");
    expect(before.every(({ body }) => body.metal === true)).toBe(true);
    expect(after.length).toBeGreaterThan(0);
    expect(after.filter(({ body }) => body.metal !== false || body.chute !== true)).toEqual([]);
  });

  it("buttonDead and perchDead: their events end, and birds still come", () => {
    for (const [fault, kind] of [["buttonDead", "press"] as const, ["perchDead", "visit"] as const]) {
      const { truths, ofKind } = plant(fault);
      expect(ofKind(kind).before.length).toBeGreaterThan(0);
      expect(ofKind(kind).after.length).toBe(0);
      expect(truths.after.at(-1)?.bouts).toBeGreaterThan(truths.after[0]?.bouts ?? 0);
    }
  });

  it("buttonChatters: bursts at night too, paid at most each three seconds", () => {
    const { moments, truths, ofKind } = plant("buttonChatters");
    const { before, after } = ofKind("press");
    expect(after.length).toBeGreaterThan(5 * before.length);
    const dark = moments.filter(({ truth }) => !truth.daylight);
    const inTheDark = (isFaulty: boolean) =>
      eventsOf(
        dark.filter(({ truth }) => (truth.faultSince !== null) === isFaulty),
        "press",
      ).length;
    expect(inTheDark(true)).toBeGreaterThan(20 + 2 * inTheDark(false));
    // No bird is about then, and no timer.
    const byNight = ofKind("portion").after.filter(({ at }) => new Date(at).getUTCHours() < 5);
    const gaps = byNight.slice(1).map(({ at }, index) => at - (byNight[index]?.at ?? 0));
    expect(gaps.length).toBeGreaterThan(4);
    expect(Math.min(...gaps)).toBeGreaterThan(2_900 - 1_500); // a report's way may take a second and a half
    expect(fallen(truths.after).portions).toBeGreaterThan(fallen(truths.before).portions);
  });

  it("thermometerStuck: the same value for ever", () => {
    const { before, after } = plant("thermometerStuck").readings;
    const air = (some: typeof before) => new Set(some.flatMap(({ values }) => values.airCelsius ?? []));
    expect(air(before).size).toBeGreaterThan(3);
    expect(air(after).size).toBe(1);
  });
});
