import { describe, expect, it } from "vitest";
import { type WorldFault, type WorldMoment, worldFaults } from "../world.ts";
import { day, hour, localHour } from "./time.ts";
import { eventsOf, lastOf, mean, numbersOf, readingsOf, tell } from "./told.ts";

const seeds = [1, 2, 3, 4, 5];
const at = 4 * day;

/** What was seen and true before the fault and from an hour after it on. */
function plant(kind: WorldFault, seed: number, days = 8) {
  const moments = tell({ seed, days, fault: { kind, at } });
  const since = (moments[0]?.line.at ?? 0) + at;
  const before = moments.filter(({ line }) => line.at < since);
  const after = moments.filter(({ line }) => line.at > since + hour);
  const events = (kindOf: string) => {
    const all = eventsOf(moments, kindOf);
    return { before: all.filter((each) => each.at < since), after: all.filter((each) => each.at > since + hour) };
  };
  const bodies = (kindOf: string) => ({
    before: events(kindOf).before.map(({ body }) => body),
    after: events(kindOf).after.map(({ body }) => body),
  });
  const shown = (part: WorldMoment[]) => readingsOf(part).map(({ posted }) => posted);
  return { moments, since, before, after, events, bodies, shown: { before: shown(before), after: shown(after) } };
}
const each = (kind: WorldFault, check: (planted: ReturnType<typeof plant>) => void, days?: number): void => {
  for (const seed of seeds) check(plant(kind, seed, days));
};
const gained = (part: readonly WorldMoment[], name: "pieces" | "portions" | "unfed") =>
  lastOf(part).truth[name] - (part[0]?.truth[name] ?? 0);
const piecesAPortion = (part: readonly WorldMoment[]) => gained(part, "pieces") / Math.max(1, gained(part, "portions"));

describe("a fault in the tray world", () => {
  it.each(worldFaults)("is true from its time on and not before: %s", (kind) => {
    const { before, after, since } = plant(kind, 1, 5);
    expect(new Set(before.map(({ truth }) => truth.faultSince))).toEqual(new Set([null]));
    expect(new Set(after.map(({ truth }) => truth.faultSince))).toEqual(new Set([since]));
    expect(new Set(before.map(({ truth }) => truth.unfed))).toEqual(new Set([0]));
  });

  it("foodOut: nobody refills any more, until nothing comes", () => {
    let empty = 0;
    each(
      "foodOut",
      ({ after }) => {
        const levels = after.map(({ truth }) => truth.grams);
        expect(levels.every((grams, index) => grams <= (levels[index - 1] ?? grams) + 1e-6)).toBe(true);
        const { truth } = lastOf(after);
        if (truth.emptySince === null) return;
        empty += 1;
        expect(truth.grams).toBeLessThan(40);
        expect(truth.unfed).toBeGreaterThan(0);
      },
      50,
    );
    expect(empty).toBeGreaterThanOrEqual(4);
  });

  it("foodBridged: food is there and hardly any comes", () => {
    each(
      "foodBridged",
      ({ before, after, moments }) => {
        const last = moments.filter(({ line }) => line.at > lastOf(moments).line.at - 2 * day);
        expect(piecesAPortion(last)).toBeLessThan(0.35 * piecesAPortion(before));
        expect(lastOf(after).truth.grams).toBeGreaterThan(50);
        expect(lastOf(after).truth.emptySince).toBeNull();
        expect(gained(after, "unfed")).toBeGreaterThan(0);
      },
      14,
    );
  });

  it.each(["trayJammed", "motorStalled", "motorWireOff"] as const)(
    "%s: nothing comes, whatever the current",
    (kind) => {
      each(kind, ({ before, after, bodies }) => {
        expect(gained(after, "pieces")).toBe(0);
        expect(gained(after, "portions")).toBeGreaterThan(0);
        expect(gained(after, "unfed")).toBe(gained(after, "portions"));
        expect(lastOf(after).truth.grams).toBeGreaterThan(0);
        expect(piecesAPortion(before)).toBeGreaterThan(1);
        const portions = bodies("portion");
        const usual = mean(numbersOf(portions.before, "meanMilliamps"));
        const now = mean(numbersOf(portions.after, "meanMilliamps"));
        if (kind === "motorWireOff") expect(now).toBeLessThan(0.2 * usual + 3);
        else expect(now).toBeGreaterThan((kind === "motorStalled" ? 1.3 : 0.75) * usual);
      });
    },
  );

  it("trayPartlyJammed: far less comes, and still some", () => {
    each("trayPartlyJammed", ({ before, after }) => {
      const share = piecesAPortion(after) / piecesAPortion(before);
      expect(share).toBeGreaterThan(0);
      expect(share).toBeLessThan(0.7);
    });
  });

  it("chuteBlind: the beam sees nothing of what falls", () => {
    each("chuteBlind", ({ after, bodies }) => {
      expect(gained(after, "pieces")).toBeGreaterThan(0);
      expect(Math.max(...numbersOf(bodies("portion").after, "chuteCount"))).toBe(0);
      expect(mean(numbersOf(bodies("portion").before, "chuteCount"))).toBeGreaterThan(0.5);
    });
  });

  it("chuteDirty: the beam sees less from day to day, and nothing after a week", () => {
    each(
      "chuteDirty",
      ({ events, since }) => {
        const seenBy = (from: number, until: number) => {
          const part = events("portion").after.filter((event) => event.at >= since + from && event.at < since + until);
          return mean(
            numbersOf(
              part.map(({ body }) => body),
              "chuteCount",
            ),
          );
        };
        expect(seenBy(3 * day, 5 * day)).toBeLessThan(0.85 * seenBy(0, day));
        expect(seenBy(3 * day, 5 * day)).toBeGreaterThan(0);
        expect(seenBy(7 * day, 10 * day)).toBe(0);
      },
      14,
    );
  });

  it("scaleStuck: the same reading, or nearly; scaleDead: none", () => {
    each("scaleStuck", ({ shown }) => {
      const weights = numbersOf(shown.after, "hopperGrams");
      expect(weights.length).toBeGreaterThan(500);
      expect(Math.max(...weights) - Math.min(...weights)).toBeLessThan(46);
      expect(new Set(weights).size).toBeLessThan(12);
    });
    each("scaleDead", ({ shown }) => {
      expect(numbersOf(shown.before, "hopperGrams").length).toBeGreaterThan(500);
      expect(numbersOf(shown.after, "hopperGrams")).toEqual([]);
    });
  });

  it("detectorDeaf: no metal any more; the slot's own beam still sees what falls in", () => {
    let fallen = 0;
    each("detectorDeaf", ({ bodies }) => {
      const deposits = bodies("deposit");
      expect(deposits.before.some(({ metal }) => metal === true)).toBe(true);
      expect(deposits.after.filter(({ metal }) => metal === true)).toEqual([]);
      fallen += deposits.after.filter(({ chute }) => chute === true).length;
    });
    expect(fallen).toBeGreaterThan(5);
  });

  it("buttonDead and perchDead: no press, no visit, while the birds still come", () => {
    for (const [kind, event] of [
      ["buttonDead", "press"],
      ["perchDead", "visit"],
    ] as const) {
      each(kind, ({ events, after }) => {
        expect(events(event).before.length).toBeGreaterThan(0);
        expect(events(event).after).toEqual([]);
        expect(lastOf(after).truth.bouts).toBeGreaterThan((after[0]?.truth.bouts ?? 0) + 3);
      });
    }
  });

  it("paysNoMore: caps are found as before and none is paid; presses are", () => {
    let paid = { before: 0, presses: 0, caps: 0 };
    each("paysNoMore", ({ bodies }) => {
      const [portions, deposits] = [bodies("portion"), bodies("deposit")];
      const caused = (part: typeof portions.after, cause: string) => part.filter((body) => body.cause === cause).length;
      expect(caused(portions.after, "deposit")).toBe(0);
      paid = {
        before: paid.before + caused(portions.before, "deposit"),
        presses: paid.presses + caused(portions.after, "press"),
        caps: paid.caps + deposits.after.filter(({ metal }) => metal === true).length,
      };
    });
    for (const count of Object.values(paid)) expect(count).toBeGreaterThan(20);
  });

  it("buttonChatters: bursts that no bird makes, also at night", () => {
    each("buttonChatters", ({ events }) => {
      const { before, after } = events("press");
      const atNight = (list: typeof after) => list.filter((press) => localHour(press.at) < 4).length;
      expect(atNight(after)).toBeGreaterThan(20 + 5 * atNight(before));
      expect(after.length).toBeGreaterThan(2 * before.length);
    });
  });

  it("thermometerStuck: one thermometer shows the same, or nearly, day and night", () => {
    each("thermometerStuck", ({ shown }) => {
      const names = ["airCelsius", "insideCelsius", "lidCelsius", "batteryCelsius"];
      const width = (part: typeof shown.after, name: string) => {
        const values = numbersOf(part, name).filter((value) => value !== 85);
        return values.length === 0 ? Number.NaN : Math.max(...values) - Math.min(...values);
      };
      const stuck = names.filter((name) => width(shown.after, name) <= 1);
      expect(stuck.length).toBe(1);
      for (const name of stuck) expect(width(shown.before, name)).toBeGreaterThan(2);
    });
  });
});
