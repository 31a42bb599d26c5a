import { describe, expect, it } from "vitest";
import type { FaultKind } from "../../server/domain/faults.ts";
import { ruleOf } from "../../server/domain/faults.ts";
import { type Instant, instant, minutes } from "../../server/domain/instant.ts";
import { texts } from "../../server/text/index.ts";
import { augerWorld } from "../worlds/auger/augerWorld.ts";
import { trayWorld } from "../worlds/tray/trayWorld.ts";
import { wheelWorld } from "../worlds/wheel/wheelWorld.ts";
import type { WorldSensors } from "../worlds/world.ts";
import type { Words } from "./reasons/claims.ts";
import { findContradictions, type Rule, type Shown } from "./reasons/contradictions.ts";
import { FeederRecord } from "./reasons/feederRecord.ts";
import { judgeReasons } from "./reasons/judgeReasons.ts";
import { brokenTexts, reasonStories } from "./reasons/reasonStories.ts";
import { subsets } from "./subsets.ts";

const now = instant(Date.UTC(2026, 0, 15, 12));
const { feed, hopper, sensorFaults, cold, feederReports } = texts;

/** What a feeder has sent until noon: a portion and a weight each five minutes. */
function recordOf(
  sensors: WorldSensors,
  sent: { readonly pieces?: readonly number[]; readonly weights?: readonly number[] },
) {
  const record = new FeederRecord(sensors);
  record.now = now;
  const count = Math.max(sent.pieces?.length ?? 0, sent.weights?.length ?? 0);
  for (let index = 0; index < count; index += 1) {
    const at = (now - (count - 1 - index) * minutes(5)) as Instant;
    record.lastReadAt.set("scale", at);
    record.portions.push({ at, pieces: sent.pieces?.[index] ?? null, milliamps: null });
    const grams = sent.weights?.[index];
    if (grams !== undefined) record.weights.push({ at, grams, portions: index + 1 });
  }
  return record;
}

const shown: Shown = { levelGrams: 800, portionGrams: 8, capacityGrams: 2_000, refilledAt: null };
const steady = Array.from({ length: 30 }, () => 800);
const falling = Array.from({ length: 30 }, (_, index) => 1_040 - 8 * index);
const stopped = [...Array.from({ length: 25 }, () => 5), 0, 0, 0, 0, 0];
const fell = [...Array.from({ length: 25 }, () => 5), 0, 0, 0, 0, 9];
const noFood = feed.evidence.nothingFell(5);
const jam = feed.trayJammed.reason(noFood);
const noWeight = feed.trayJammed.reason(feed.evidence.notLighter);

interface WrongAlarm {
  readonly is: string;
  readonly rule: Rule;
  readonly fault: FaultKind;
  readonly reason: string;
  readonly evidence?: Words["evidence"];
  readonly sensors?: WorldSensors;
  readonly pieces?: readonly number[];
  readonly weights?: readonly number[];
}

const {
  "all sensors": all,
  "no scale": noScale,
  "no chute": noChute,
  "chute only": chuteOnly,
  "scale only": scaleOnly,
} = subsets;
const lighterCurrent = feed.current("460 mA", "410 mA");
const line = (label: string, value: string, at: Instant | null = null) => [{ label, value, at }];
const old = (now - minutes(600)) as Instant;

const wrongAlarms: readonly WrongAlarm[] = [
  {
    is: "a current that is never sent",
    rule: "sensor",
    fault: "motorStalled",
    reason: feed.motorStalled(lighterCurrent),
    sensors: chuteOnly,
  },
  { is: "scale words without a scale", rule: "sensor", fault: "feedStopped", reason: noWeight, sensors: noScale },
  { is: "a chute sensor that isn't there", rule: "sensor", fault: "trayJammed", reason: jam, sensors: noChute },
  {
    is: "a perch that isn't there",
    rule: "sensor",
    fault: "buttonSilent",
    reason: sensorFaults.silentBesideOthers("button", sensorFaults.countedEvents(9, sensorFaults.events.perch), "all"),
    sensors: chuteOnly,
  },
  {
    is: "a detector that isn't there",
    rule: "sensor",
    fault: "detectorSilent",
    reason: sensorFaults.silentAlone("detector"),
    sensors: scaleOnly,
  },
  {
    is: "a lid's thermometer that isn't there",
    rule: "sensor",
    fault: "frostInside",
    reason: cold.frost.remaining("lid", "−2 °C"),
  },
  {
    is: "a scale called missing that is there",
    rule: "sensor",
    fault: "feedStopped",
    reason: feed.indistinguishable.chuteWithoutScale,
  },
  {
    is: "evidence of a sensor that isn't there",
    rule: "sensor",
    fault: "foodLow",
    reason: hopper.low("800 g", texts.food.emptyBy("tonight")),
    evidence: line(feed.labels.weight, "800 g", now),
    sensors: noScale,
  },
  {
    is: "a motor that turns lightly at a higher current",
    rule: "sign",
    fault: "feedBridged",
    reason: feed.feedBridged.reasonWithCurrent(noFood, lighterCurrent),
  },
  {
    is: "a blocked motor at a lower current",
    rule: "sign",
    fault: "motorStalled",
    reason: feed.motorStalled(feed.current("200 mA", "410 mA")),
  },
  {
    is: "frost where it is warmer than the frost point",
    rule: "sign",
    fault: "frostInside",
    reason: cold.frost.growing("lid", "−2 °C", "−4 °C"),
  },
  {
    is: "a total that fell upwards",
    rule: "sign",
    fault: "countsBackwards",
    reason: sensorFaults.totalFell.reason("button", 5, 9),
  },
  {
    is: "nothing seen of no portion",
    rule: "sign",
    fault: "chuteBlind",
    reason: feed.chuteBlind(0, feed.proof.lighter),
  },
  {
    is: "less than a tenth of the hopper, at two fifths",
    rule: "sign",
    fault: "foodLow",
    reason: hopper.lowWithoutForecast("800 g"),
  },
  {
    is: "a silence shorter than the usual interval",
    rule: "sign",
    fault: "feederSilent",
    reason: feederReports.silent("2 minutes", "every 5 minutes"),
  },
  { is: "a jam while nine pieces fell", rule: "opposite", fault: "trayJammed", reason: jam, pieces: fell },
  {
    is: "no weight lost while it is",
    rule: "opposite",
    fault: "trayJammed",
    reason: noWeight,
    sensors: noChute,
    weights: falling,
  },
  {
    is: "an empty hopper with plenty on the scale",
    rule: "opposite",
    fault: "foodOut",
    reason: hopper.empty.scale("20 g", "today"),
  },
  {
    is: "empty or jammed with plenty on the scale",
    rule: "opposite",
    fault: "feedStopped",
    reason: feed.unsure(noFood, feed.or(feed.causes.hopperEmpty, feed.causes.trayJammed)),
  },
  {
    is: "lighter where the weights stay the same",
    rule: "opposite",
    fault: "chuteBlind",
    reason: feed.chuteBlind(5, feed.proof.lighter),
  },
  {
    is: "no weight in the reports that have one",
    rule: "opposite",
    fault: "scaleSilent",
    reason: sensorFaults.scale.missing(12),
  },
  {
    is: "hardly any food where most portions fell",
    rule: "opposite",
    fault: "chuteBlind",
    reason: feed.trayJammed.reason(feed.evidence.hardlyAnyFalls),
    pieces: Array.from({ length: 30 }, () => 5),
  },
  {
    is: "portions of days ago",
    rule: "stale",
    fault: "trayJammed",
    reason: feed.trayJammed.reason(feed.evidence.nothingFell(2)),
  },
  {
    is: "a level of days ago",
    rule: "stale",
    fault: "foodLow",
    reason: hopper.low("300 g", texts.food.emptyBy("tonight")),
  },
  {
    is: "a weight of days ago",
    rule: "stale",
    fault: "trayJammed",
    reason: jam,
    evidence: line(feed.labels.weight, "800 g", old),
  },
  {
    is: "a run-out that has passed",
    rule: "stale",
    fault: "foodLow",
    reason: hopper.low("800 g", texts.food.emptyBy("tonight")),
    evidence: line(hopper.possiblyEmptyLabel, "this morning", old),
  },
  {
    is: "a reason that isn't its evidence",
    rule: "stale",
    fault: "trayJammed",
    reason: jam,
    evidence: line(feed.labels.uncounted, "4", now),
  },
  {
    is: "a sentence of which nobody has said what it asserts",
    rule: "unknown",
    fault: "trayJammed",
    reason: "The tray is in a bad mood.",
  },
];

describe("the words of an alarm", () => {
  it.each(wrongAlarms)(
    "may not be $is",
    ({ rule, fault, reason, evidence = [], sensors = all, pieces = stopped, weights = steady }) => {
      const record = recordOf(sensors, { pieces, ...(sensors.scale ? { weights } : {}) });
      const found = findContradictions(fault, { reason, evidence }, record, shown);
      expect(found.map((one) => one.rule)).toContain(rule);
    },
  );

  it("are right where they say what the feeder has sent", () => {
    const evidence = [...line(feed.labels.uncounted, "5", now), ...line(feed.labels.weight, "800 g", now)];
    const record = recordOf(all, { pieces: stopped, weights: steady });
    expect(findContradictions("trayJammed", { reason: jam, evidence }, record, shown)).toEqual([]);
    const falls = { reason: feed.fallsAgain.trayJammed, evidence: [] };
    expect(findContradictions("trayJammed", falls, recordOf(all, { pieces: fell, weights: steady }), shown)).toEqual(
      [],
    );
  });

  it("give no advice that names a cause the reason may have excluded", () => {
    expect(ruleOf("feedStopped").advice).not.toMatch(/empty|jammed/);
  });
});

describe.each([augerWorld, wheelWorld, trayWorld])("in the world $name, with every subset of sensors", (world) => {
  const round = [augerWorld, wheelWorld, trayWorld].indexOf(world);

  it("no reason in force contradicts what the feeder has sent", () => {
    let moments = 0;
    const broken: string[] = [];
    for (const { name, story } of reasonStories(world, 146_000 + 10 * round, 5, round)) {
      const figures = judgeReasons(world, story);
      moments += figures.moments;
      broken.push(...brokenTexts(name, figures));
    }
    expect(broken).toEqual([]);
    expect(moments).toBeGreaterThan(1_000);
  }, 240_000);
});
