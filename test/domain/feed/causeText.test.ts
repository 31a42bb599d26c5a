import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { causeFaults } from "../../../server/domain/feed/causeFaults.ts";
import type { Cause } from "../../../server/domain/feed/causeProbabilities.ts";
import { indistinguishableTexts } from "../../../server/domain/feed/causeText.ts";
import { updateFeedByPortion } from "../../../server/domain/feed/feed.ts";
import { type FeedState, initialFeed } from "../../../server/domain/feed/feedState.ts";
import { initialStatistics } from "../../../server/domain/feed/hypothesisStatistics.ts";
import { initialMotorModel } from "../../../server/domain/feed/motorModel.ts";
import { grams } from "../../../server/domain/units.ts";
import { dawn, minuteAfter, portionAt, rowanSettings } from "../hopper/rowan.ts";

const withScale = rowanSettings();
const noScale = rowanSettings({ scale: false });
const noChute = rowanSettings({ chute: false });

/** Feed that has been diagnosed as wrong for a while, with so much evidence for some hypotheses. */
function diagnosed(sums: Partial<Record<keyof FeedState["statistics"], number>>, different: Partial<FeedState> = {}) {
  const statistics = { ...initialStatistics };
  for (const [name, sum] of Object.entries(sums) as [keyof typeof sums, number][])
    statistics[name] = { ...statistics[name], sum };
  const diagnosis = { since: dawn, portionsSince: 9, healthEvidence: 0, cause: null, hypothesis: "trayJammed" };
  return { ...initialFeed(), statistics, diagnosis, ...different } as FeedState;
}
const faultOf = (feed: FeedState, settings = withScale) => causeFaults(feed, null, settings, minuteAfter(dawn, 60))[0];

describe("a fault of the feed whose cause isn't known", () => {
  it("names the causes that are likelier than one in twenty, the likeliest first, and is as sure as they together", () => {
    const fault = faultOf(diagnosed({}, { uncountedPortions: 5 }), noScale);
    expect(fault?.kind).toBe("feedStopped");
    expect(fault?.reason).toContain(
      "No food was seen to fall in the last 5 portions, and nothing is known about the hopper's level: " +
        "the hopper is empty, the tray is jammed, the food is stuck above the tray or the chute sensor is blind.",
    );
    expect(fault?.confidence).toBeCloseTo(0.84, 3);
  });
});

describe("the reason of a fault of the feed", () => {
  it("states that hardly anything falls where the chute sensor sees a little now and then", () => {
    const trickle = diagnosed({ trayJammed: 25 }, { lastFellAt: dawn });
    expect(faultOf(trickle)?.reason).toBe("Hardly any portion falls any more: something is stuck in the tray.");
    expect(faultOf({ ...trickle, uncountedPortions: 1 })?.reason).toBe(
      "No food was seen to fall in the last portion: something is stuck in the tray.",
    );
  });

  it("states of a chute sensor that misses many portions why food must fall", () => {
    const statistics = { ...diagnosed({ chuteHalfBlind: 25 }).statistics };
    statistics.trayJammed = { ...statistics.trayJammed, scaleEstimate: { level: 920, variance: 1 } };
    const weighed = { ...initialFeed().scale, readingAt: dawn, meanPortion: 8 };
    const scaleAt = (level: number) => diagnosed({}, { statistics, scale: { ...weighed, level } });
    expect(faultOf(scaleAt(920))?.reason).toBe(
      "The chute sensor sees less than fell before: the scale's next readings will show whether food still falls.",
    );
    expect(faultOf(scaleAt(900))).toMatchObject({
      kind: "chuteBlind",
      reason:
        "The chute sensor misses many of the portions lately, yet the hopper grew lighter by about as much: " +
        "food falls, the sensor sees only some of it.",
    });
  });
});

describe("the current that a reason cites", () => {
  const full = { grams: grams(1_500), low: grams(1_400), high: grams(1_600) };
  const cited =
    /^.*The motor turns(?<lightly> lightly)?, it draws (?<drawn>\d+) mA instead of about (?<usual>\d+) mA: /;

  it("is lower where the tray is said to turn lightly, and higher where something is said to be stuck in it (property)", () => {
    const reached = { lightly: 0, hard: 0, uncited: 0 };
    fc.assert(
      fc.property(
        fc.double({ min: 30, max: 600, noNaN: true }),
        fc.oneof(fc.double({ min: 0.9, max: 1.1, noNaN: true }), fc.double({ min: 0.3, max: 1.59, noNaN: true })),
        fc.constantFrom("emptyTray", "trayJammed"),
        (usual, ratio, hypothesis) => {
          const motor = {
            ...initialMotorModel,
            portionsLearnt: 50,
            meanLogCurrent: Math.log(usual),
            lastMilliamps: ratio * usual,
          };
          const feed = diagnosed({ [hypothesis]: 25 }, { motor, uncountedPortions: 9, levelAtPortion: full });
          const reason = causeFaults(feed, full, withScale, minuteAfter(dawn, 60))[0]?.reason ?? "";
          expect(reason).toMatch(
            hypothesis === "emptyTray" ? /the food is stuck above it/ : /something is stuck in the tray/,
          );
          const numbers = cited.exec(reason)?.groups;
          if (numbers === undefined) {
            expect(reason).not.toMatch(/lightly| mA/);
            reached.uncited += 1;
          } else if (numbers.lightly !== undefined) {
            expect(Number(numbers.drawn)).toBeLessThan(Number(numbers.usual));
            expect(hypothesis).toBe("emptyTray");
            reached.lightly += 1;
          } else {
            expect(Number(numbers.drawn)).toBeGreaterThan(Number(numbers.usual));
            expect(hypothesis).toBe("trayJammed");
            reached.hard += 1;
          }
        },
      ),
      { numRuns: 400 },
    );
    expect(Math.min(reached.lightly, reached.hard, reached.uncited)).toBeGreaterThan(20);
  });
});

describe("what can't be distinguished without a sensor", () => {
  const stopping: readonly Cause[] = ["hopperEmpty", "feedBridged", "trayJammed", "motorStalled", "motorNotTurning"];
  const texts = (open: readonly Cause[], settings = withScale) =>
    indistinguishableTexts(open, initialFeed(), null, settings);
  const chuteWithoutScale = "Without a scale a blind chute sensor looks the same.";
  const scaleWithoutChute = "Without a chute sensor a stuck scale looks the same.";

  it.each(stopping)("is a failing chute sensor or scale from %s, only where the other sensor is missing", (cause) => {
    for (const sensor of ["chuteBlind", "chuteHalfBlind"] as const) {
      expect(texts([cause, sensor], noScale)).toContain(chuteWithoutScale);
      expect(texts([cause, sensor])).not.toContain(chuteWithoutScale);
    }
    expect(texts([cause, "scaleStuck"], noChute)).toContain(scaleWithoutChute);
    expect(texts([cause, "scaleStuck"])).not.toContain(scaleWithoutChute);
  });

  it("is nothing where only one kind of cause is open", () => {
    expect(texts(["trayJammed", "motorStalled"], noScale)).toEqual([]);
    expect(texts(["chuteBlind", "chuteHalfBlind"], noScale)).toEqual([]);
    expect(texts(["scaleStuck"], noChute)).toEqual([]);
  });
});

describe("a portion that was cut short", () => {
  it("leaves the scale's evidence to begin anew, unless a newer reading has it already", () => {
    const weighed = {
      ...initialFeed(),
      scale: { ...initialFeed().scale, readingAt: minuteAfter(dawn, 10), level: 900 },
    };
    const after = (minute: number) =>
      updateFeedByPortion(weighed, portionAt(minuteAfter(dawn, minute), { cutShort: true }), null, withScale).scale;
    expect(after(9)).toEqual(weighed.scale);
    expect(after(11)).toMatchObject({ readingAt: null, portionsSince: 0, level: 900 });
  });
});
