import { describe, expect, it } from "vitest";
import { isoOf } from "../../../server/domain/instant.ts";
import { type LogLine, readLine } from "../../../server/replay/logLine.ts";
import type { KeeperPhone, Story, WorldFault, WorldMoment, WorldSensors } from "../world.ts";
import { buildFeeder } from "./feeder.ts";
import { day, hour } from "./time.ts";
import { emptyRange } from "./wheel.ts";
import { wheelWorld } from "./wheelWorld.ts";

const allSensors: WorldSensors = {
  button: true,
  detector: true,
  chute: true,
  perch: true,
  scale: true,
  motorCurrent: true,
  portionEvents: true,
};

const quiet: Story = {
  seed: 1,
  days: 4,
  reportEverySeconds: 300,
  sensors: allSensors,
  fault: null,
  refills: "whenAsked",
};

/** The phone asks as soon as less than thirty portions are left. */
function tellAll(changes: Partial<Story>, seeds: readonly number[] = [1]): WorldMoment[][] {
  return seeds.map((seed) => {
    const phone: KeeperPhone = { asksForFood: false };
    const moments: WorldMoment[] = [];
    for (const moment of wheelWorld.tell({ ...quiet, ...changes, seed }, phone)) {
      moments.push(moment);
      phone.asksForFood = moment.truth.grams < 30 * moment.truth.portionGrams;
    }
    return moments;
  });
}

interface FoundEvent {
  readonly at: number; // when the report arrived
  readonly isFaulty: boolean; // the report arrived after the fault began
  readonly body: Readonly<Record<string, unknown>>;
}

/** Each once, though reports repeat them. */
function events(moments: readonly WorldMoment[], kind?: string): FoundEvent[] {
  const seen = new Set<string>();
  const found: FoundEvent[] = [];
  for (const { line, truth } of moments) {
    if (line.kind !== "report") continue;
    for (const event of line.report.events) {
      const id = `${line.report.boot} ${event.seq}`;
      if (seen.has(id) || (kind !== undefined && event.kind !== kind)) continue;
      seen.add(id);
      const body = event.body as Readonly<Record<string, unknown>>;
      found.push({ at: line.at, isFaulty: truth.faultSince !== null, body });
    }
  }
  return found;
}

const readingsOf = ({ line }: WorldMoment) => (line.kind === "report" ? line.report.readings : null);
const isAfterFault = ({ truth }: WorldMoment) => truth.faultSince !== null;

/** As it stands in a log's file. */
function logText(line: LogLine): string {
  const { feeder, at } = line;
  if (line.kind === "settings") return JSON.stringify({ at: isoOf(at), feeder, settings: line.settings });
  if (line.kind === "keeper") return JSON.stringify({ at: isoOf(at), feeder, keeper: line.act });
  if (line.kind !== "report") throw new Error(`expected settings, acts and reports, got ${line.kind}`);
  const { boot, sentUptime, postedReadings, events } = line.report;
  const report = { boot, sentUptimeMs: sentUptime, readings: postedReadings, events: events.map(({ body }) => body) };
  return JSON.stringify({ receivedAt: isoOf(at), feeder, report });
}

const seeds = [7, 12, 25];

/** Eight days, with an act for each thing that happens. The fault begins after two days. */
function runFeeder(seed: number, kind: WorldFault | null) {
  const fault = kind && { kind, at: 2 * day };
  const feeder = buildFeeder({ ...quiet, seed, fault }, { asksForFood: true }, { report: () => {}, act: () => {} });
  const { agenda, ledger, hopper } = feeder;
  const end = agenda.now + 8 * day;
  let [runs, empty, refills] = [0, 0, 0];
  while (agenda.nextAt < end) {
    const { portions, given, poured } = ledger;
    const isLow = hopper.fullness < 0.3;
    agenda.runNext();
    if (ledger.poured > poured) refills += 1;
    if (ledger.portions === portions || isLow) continue;
    runs += 1;
    if (ledger.given === given) empty += 1;
  }
  return { feeder, runs, empty, refills };
}

describe("the wheel world", () => {
  it("tells the same lines for the same story, and others for another seed", () => {
    const told = (seed: number) => JSON.stringify(tellAll({ days: 2 }, [seed]));
    expect(told(5)).toBe(told(5));
    expect(told(5)).not.toBe(told(6));
  });

  it("tells lines that read without a problem, in time order, each with the truth of its moment", () => {
    const moments = tellAll({ days: 5 }, [7, 25]);
    const unreadable = moments.flat().filter(({ line }) => {
      const read = readLine(logText(line));
      return read.kind !== "read" || read.line.kind !== line.kind || read.line.at !== line.at;
    });
    const doubtful = moments.flat().filter(({ line }) => {
      if (line.kind !== "report") return false;
      const { refused, rejectedReadings, unknownNames } = line.report;
      return refused.length + rejectedReadings.length + unknownNames.length > 0;
    });
    const untimely = moments.flatMap((each) =>
      each.filter(({ line, truth }, index) => line.at < (each[index - 1]?.line.at ?? 0) || truth.at !== line.at),
    );
    expect(moments.flat().length).toBeGreaterThan(2_000);
    expect({ unreadable, doubtful, untimely }).toEqual({ unreadable: [], doubtful: [], untimely: [] });
  });

  it("repeats events whose answer was lost", () => {
    const moments = tellAll({ days: 8 }, [25]).flat();
    const sent = moments.reduce((sum, { line }) => sum + (line.kind === "report" ? line.report.events.length : 0), 0);
    expect(sent).toBeGreaterThan(events(moments).length);
  });

  it("conserves the food: what was poured in is given or still there", () => {
    let refills = 0;
    for (const seed of seeds) {
      for (const kind of [null, "foodBridged", "trayPartlyJammed"] as const) {
        const { feeder, refills: refilled } = runFeeder(seed, kind);
        const { given, poured } = feeder.ledger;
        expect(given).toBeGreaterThan(0);
        expect(given + feeder.hopper.total).toBeCloseTo(poured, 5);
        refills += refilled;
      }
    }
    expect(refills).toBeGreaterThan(3);
  });

  it("gives empty portions within the stated range while all is well and the hopper is not low", () => {
    const feeders = [2, 25, 36].map((seed) => runFeeder(seed, null));
    const runs = feeders.reduce((sum, each) => sum + each.runs, 0);
    const empty = feeders.reduce((sum, each) => sum + each.empty, 0);
    expect(runs).toBeGreaterThan(1_000);
    expect(empty / runs).toBeGreaterThan(emptyRange.low);
    expect(empty / runs).toBeLessThan(emptyRange.highWhenDampOrLow);
  });

  it("lets the hopper run out where nobody refills, and says since when", () => {
    const [moments = []] = tellAll({ days: 30, refills: "never" }, [25]);
    const last = moments.at(-1)?.truth;
    expect(last?.emptySince).not.toBeNull();
    const empty = moments.filter(({ truth }) => truth.emptySince !== null);
    expect(Math.max(...empty.map(({ truth }) => truth.grams))).toBeLessThan(4); // half a portion of this feeder
    expect((last?.emptySince ?? 0) > (moments[0]?.line.at ?? 0) + day).toBe(true);
  });
});

describe("sensors that the story leaves out", () => {
  const bare = { ...allSensors, button: false, detector: false, perch: false, scale: false };
  const cases: readonly [keyof WorldSensors, string[]][] = [
    ["button", ['"kind":"press"', '"cause":"press"', '"button":']],
    ["detector", ['"kind":"deposit"', '"cause":"deposit"', '"detector":']],
    ["chute", ['"chuteCount"', '"chute":0', '"chute":1']],
    ["perch", ['"kind":"visit"', '"perch":']],
    ["scale", ['"hopperGrams"']],
    ["motorCurrent", ['"meanMilliamps"', '"peakMilliamps"']],
    ["portionEvents", ['"kind":"portion"']],
  ];
  it.each(cases)("never appear in reports: %s", (sensor, words) => {
    const text = (sensors: WorldSensors) =>
      tellAll({ days: 4, sensors }, seeds)
        .flat()
        .filter(({ line }) => line.kind === "report")
        .map(({ line }) => logText(line))
        .join("\n");
    const [withIt, without] = [text(allSensors), text({ ...allSensors, [sensor]: false })];
    expect(words.some((word) => withIt.includes(word))).toBe(true);
    expect(words.filter((word) => without.includes(word))).toEqual([]);
  });

  it("are not in the settings", () => {
    const [moments = []] = tellAll({ days: 1, sensors: bare });
    const settings = moments.find(({ line }) => line.kind === "settings")?.line;
    const sensors = { button: false, detector: false, chute: true, perch: false, scale: false };
    expect(settings).toMatchObject({ settings: { sensors } });
  });
});

describe("a planted fault", () => {
  const faulty = (kind: WorldFault, changes: Partial<Story> = {}) =>
    tellAll({ days: 9, fault: { kind, at: 4 * day }, ...changes }, seeds);
  const split = (found: readonly FoundEvent[]) => ({
    before: found.filter(({ isFaulty }) => !isFaulty),
    // Late events of the time before may still come on the first day.
    after: found.filter(({ isFaulty, at }) => isFaulty && at > (found.find((each) => each.isFaulty)?.at ?? 0) + day),
  });
  const splitAll = (stories: readonly WorldMoment[][], kind: string) => {
    const parts = stories.map((moments) => split(events(moments, kind)));
    return { before: parts.flatMap(({ before }) => before), after: parts.flatMap(({ after }) => after) };
  };
  const truthsOfFault = (moments: readonly WorldMoment[]) => {
    const truths = moments.filter(isAfterFault).map(({ truth }) => truth);
    return { first: truths[0], last: truths.at(-1) };
  };

  it.each(["trayJammed", "motorStalled", "motorWireOff"] as const)("%s: it runs and nothing comes out", (kind) => {
    let runs = 0;
    for (const moments of faulty(kind)) {
      const { first, last } = truthsOfFault(moments);
      expect(last?.pieces).toBe(first?.pieces);
      expect(last?.unfed).toBe((last?.portions ?? 0) - (first?.portions ?? 0) + (first?.unfed ?? 0));
      runs += last?.unfed ?? 0;
    }
    expect(runs).toBeGreaterThan(100);
  });

  it("foodOut: the keeper doesn't refill any more", () => {
    const poured = (moments: readonly WorldMoment[], isAfter: boolean) => {
      const levels = moments.filter((each) => isAfterFault(each) === isAfter).map(({ truth }) => truth.gramsOnScale);
      return levels.some((level, index) => level > (levels[index - 1] ?? level));
    };
    const stories = tellAll({ days: 24, fault: { kind: "foodOut", at: 14 * day } }, [25, 10]);
    expect(stories.some((moments) => poured(moments, false))).toBe(true);
    expect(stories.some((moments) => poured(moments, true))).toBe(false);
    expect(stories.some((moments) => moments.at(-1)?.truth.emptySince !== null)).toBe(true);
  });

  it("foodBridged: food stays above, which still counts as food that can be given", () => {
    for (const moments of faulty("foodBridged")) {
      const { first, last } = truthsOfFault(moments);
      const before = moments.filter((each) => !isAfterFault(each)).at(-1)?.truth;
      const tenPortions = 10 * (before?.portionGrams ?? 0);
      expect(Math.abs((first?.grams ?? 0) - (before?.grams ?? 0))).toBeLessThan(tenPortions); // a bridge takes nothing away
      expect(last?.grams).toBeGreaterThan(100);
      const corners = (last?.gramsOnScale ?? 0) - (last?.grams ?? 0);
      expect(corners).toBeCloseTo((before?.gramsOnScale ?? 0) - (before?.grams ?? 0), 6);
      expect(last?.unfed).toBeGreaterThan(0);
      expect(last?.emptySince).toBeNull();
    }
  });

  it("trayPartlyJammed: far less comes out, and not nothing", () => {
    for (const moments of faulty("trayPartlyJammed")) {
      const before = moments.filter((each) => !isAfterFault(each)).at(-1)?.truth;
      const { first, last } = truthsOfFault(moments);
      const runs = (last?.portions ?? 0) - (first?.portions ?? 0);
      if (runs < 50) continue;
      const fed = 1 - ((last?.unfed ?? 0) - (first?.unfed ?? 0)) / runs;
      expect(last?.pieces).toBeGreaterThan(first?.pieces ?? 0);
      expect(last?.portionGrams).toBeLessThan(0.65 * (before?.portionGrams ?? 0));
      expect(fed).toBeLessThan(0.9);
    }
  });

  it("chuteBlind: it counts nothing at once, whatever falls", () => {
    const { before, after } = splitAll(faulty("chuteBlind"), "portion");
    expect(sumOf(before, "chuteCount")).toBeGreaterThan(100);
    expect(after.length).toBeGreaterThan(100);
    expect(sumOf(after, "chuteCount")).toBe(0);
  });

  it("chuteDirty: it counts less and less, and nothing after a week", () => {
    const stories = tellAll({ days: 12, fault: { kind: "chuteDirty", at: 3 * day } }, seeds);
    const counted = (from: number, to: number) => {
      const found = stories.flatMap((moments) => {
        const begin = (moments[0]?.line.at ?? 0) + 3 * day;
        return events(moments, "portion").filter(({ at }) => at >= begin + from * day && at < begin + to * day);
      });
      expect(found.length).toBeGreaterThan(50);
      return sumOf(found, "chuteCount") / found.length;
    };
    expect(counted(3, 7)).toBeLessThan(0.5 * counted(-3, 0));
    expect(counted(8, 9)).toBe(0); // a day later, when no late report brings older ones any more
  });

  it("scaleStuck: the same reading or nearly, for ever; before it moves", () => {
    for (const moments of faulty("scaleStuck")) {
      const spread = (isAfter: boolean) => {
        const grams = moments.filter((each) => isAfterFault(each) === isAfter).map((each) => readingsOf(each)?.hopper);
        const read = grams.filter((each) => typeof each === "number");
        expect(read.length).toBeGreaterThan(300);
        return Math.max(...read) - Math.min(...read);
      };
      expect(spread(true)).toBeLessThanOrEqual(20);
      expect(spread(false)).toBeGreaterThan(20);
    }
  });

  it("scaleDead: readings are null or left out", () => {
    const stories = faulty("scaleDead");
    const posted = stories.flatMap((moments) =>
      moments.filter(isAfterFault).map(({ line }) => (line.kind === "report" ? line.report.postedReadings : {})),
    );
    expect(posted.every((readings) => ((readings as { hopperGrams?: unknown }).hopperGrams ?? null) === null)).toBe(
      true,
    );
    expect(new Set(posted.map((readings) => "hopperGrams" in (readings as object))).size).toBe(2);
  });

  it("detectorDeaf: no metal is found any more, and a beam still sees what falls", () => {
    const { before, after } = splitAll(faulty("detectorDeaf"), "deposit");
    expect(before.some(({ body }) => body.metal === true)).toBe(true);
    expect(after.length).toBeGreaterThan(0);
    expect(after.filter(({ body }) => body.metal !== false || body.chute !== true)).toEqual([]);
  });

  it("buttonDead and perchDead: their events end", () => {
    for (const [kind, event] of [
      ["buttonDead", "press"],
      ["perchDead", "visit"],
    ] as const) {
      const { before, after } = splitAll(faulty(kind), event);
      expect(before.length).toBeGreaterThan(100);
      expect(after.length).toBe(0);
    }
  });

  it("paysNoMore: deposits are recorded as before and none is paid; presses are", () => {
    const { before, after } = splitAll(faulty("paysNoMore"), "portion");
    const caused = (found: readonly FoundEvent[], cause: string) => found.filter(({ body }) => body.cause === cause);
    expect(caused(before, "deposit").length).toBeGreaterThan(10);
    expect(caused(after, "deposit")).toEqual([]);
    expect(caused(after, "press").length).toBeGreaterThan(10);
    const deposits = splitAll(faulty("paysNoMore"), "deposit").after;
    expect(deposits.filter(({ body }) => body.metal === true).length).toBeGreaterThan(10);
  });

  it("buttonChatters: bursts at any hour, which are paid at most each three seconds", () => {
    const stories = faulty("buttonChatters", { refills: "never" });
    const { before, after } = splitAll(stories, "press");
    expect(after.length).toBeGreaterThan(5 * before.length);
    const hours = new Set(after.map(({ at }) => Math.floor(at / hour) % 24));
    expect(hours.size).toBe(24);
    for (const moments of stories) {
      const paid = events(moments, "portion").filter(({ body }) => body.cause === "press");
      const gaps = paid.map(({ body }, index) => Number(body.uptimeMs) - Number(paid[index - 1]?.body.uptimeMs));
      expect(gaps.filter((gap) => gap >= 0 && gap < 2_500)).toEqual([]);
    }
  });

  it("thermometerStuck: the same value for ever", () => {
    for (const moments of faulty("thermometerStuck")) {
      const values = (isAfter: boolean) => {
        const read = moments.filter((each) => isAfterFault(each) === isAfter).map((each) => readingsOf(each));
        return new Set(read.flatMap((each) => (each === null ? [] : (each.air ?? each.inside ?? []))));
      };
      expect(values(false).size).toBeGreaterThan(3);
      expect(values(true).size).toBe(1);
    }
  });

  it("leaves the weather of its seed as it is", () => {
    const air = (story: Partial<Story>) =>
      tellAll({ days: 4, ...story }, [3])
        .flat()
        .map((each) => readingsOf(each)?.air);
    const healthy = new Set(air({}));
    const found = air({ fault: { kind: "motorWireOff", at: 1 * day } });
    expect(found.filter((each) => !healthy.has(each)).length).toBeLessThan(0.05 * found.length);
  });
});

const sumOf = (found: readonly FoundEvent[], name: string): number =>
  found.reduce((sum, { body }) => sum + Number(body[name] ?? 0), 0);
