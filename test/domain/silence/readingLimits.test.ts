import { describe, expect, it } from "vitest";
import {
  after,
  days,
  hours,
  type Instant,
  instantOf,
  minutes,
  type Span,
  seconds,
} from "../../../server/domain/instant.ts";
import type { FeederEvent, Readings, Report } from "../../../server/domain/report.ts";
import {
  initialChatter,
  isChattering,
  isPossiblyChattering,
  updateChatterByCount,
  updateChatterByGrowth,
} from "../../../server/domain/silence/chatter.ts";
import { readingFaults } from "../../../server/domain/silence/readingFaults.ts";
import {
  initialRejectedReadings,
  isOftenRejected,
  sensorName,
  updateRejectedReadings,
} from "../../../server/domain/silence/rejectedReadings.ts";
import {
  countFallenPortion,
  countGivenPortion,
  initialScaleActivity,
  scaleSilentFault,
  updateScaleActivity,
} from "../../../server/domain/silence/scaleSilence.ts";
import { updateSensorsByEvent, updateSensorsByReport } from "../../../server/domain/silence/sensorActivity.ts";
import { initialSensors } from "../../../server/domain/silence/sensorsState.ts";
import { grams } from "../../../server/domain/units.ts";
import { barePortion } from "../portionFixture.ts";
import { emptyReadings, larchSettings } from "./larch.ts";

const start = instantOf("2026-06-01T08:00:00Z");
const at = (second: number): Instant => after(start, seconds(second));
const readings = (different: Partial<Readings>): Readings => ({ ...emptyReadings, ...different });

describe("a reading that is impossible", () => {
  const rejected = (pattern: string, every = 60) =>
    [...pattern].reduce(
      (known, sign, n) => updateRejectedReadings(known, sign === "x" ? ["airCelsius"] : [], at(every * n)),
      initialRejectedReadings,
    );

  it("is counted from its first time on, by the share of the last minutes", () => {
    expect(rejected("x")).toEqual({ airCelsius: { share: 0.2, count: 1, firstAt: start, lastReportAt: start } });
    const twice = rejected("xx").airCelsius;
    expect(twice).toMatchObject({ count: 2, firstAt: start, lastReportAt: at(60) });
    // A minute weighs 1 − e^(−1/5), since five minutes count.
    expect(twice?.share).toBeCloseTo(0.2 + 0.8 * (1 - Math.exp(-1 / 5)), 9);
    expect(rejected("x.").airCelsius?.share).toBeCloseTo(0.2 * Math.exp(-1 / 5), 9);
  });

  it("is forgotten once its share is a twentieth", () => {
    expect(rejected("x......").airCelsius).toBeDefined(); // 0.2 e^(−6/5) = 0.06
    expect(rejected("x.......").airCelsius).toBeUndefined(); // 0.2 e^(−7/5) = 0.049
    expect(rejected("x.......")).toEqual({});
    expect(rejected("x........")).toBe(initialRejectedReadings);
  });

  it("is a fault once it makes most of at least four", () => {
    const often = (share: number, count: number) =>
      isOftenRejected({ share, count, firstAt: start, lastReportAt: start });
    expect([often(0.5, 9), often(0.51, 4), often(0.51, 3)]).toEqual([false, true, false]);
  });

  it("belongs to a sensor by the name in the report, or to none", () => {
    expect(sensorName("hopperGrams")).toBe("scale");
    expect(sensorName("portions")).toBeNull();
    expect(updateRejectedReadings(initialRejectedReadings, ["portions"], start)).toEqual({});
    for (const name of [
      "airCelsius",
      "insideCelsius",
      "lidCelsius",
      "humidityPercent",
      "supplyVolts",
      "batteryVolts",
      "batteryCelsius",
      "chargeMilliamps",
      "signalDbm",
    ])
      expect(sensorName(name), name).not.toBeNull();
  });
});

describe("a scale that reports", () => {
  const weight = (value: number | null, more: Partial<Readings> = {}) =>
    readings({ hopper: value === null ? null : grams(value), ...more });
  const unchanged = (fallen: number, given = 0) => {
    let scale = updateScaleActivity(initialScaleActivity(), weight(900), start);
    for (let n = 0; n < fallen; n += 1) scale = countFallenPortion(scale);
    for (let n = 0; n < given; n += 1) scale = countGivenPortion(scale);
    return scale;
  };
  const fault = (scale: ReturnType<typeof unchanged>, isRejected = false) => scaleSilentFault(scale, null, isRejected);

  it("is stuck where sixteen portions were seen to fall before its newest reading, the same to the last digit", () => {
    const read = (fallen: number, value = 900) => fault(updateScaleActivity(unchanged(fallen), weight(value), at(60)));
    expect(read(15)).toBeNull();
    expect(read(16)?.reason).toBe("The scale reading did not change, although 16 portions were seen to fall.");
    expect(read(16, 899.9)).toBeNull();
    expect(fault(unchanged(17))).toBeNull(); // it was not read since
    expect(read(16)?.evidence).toEqual([
      { label: "weight, unchanged", value: "900 g", at: at(60) },
      { label: "portions seen to fall since", value: "16", at: null },
    ]);
  });

  it("stands still for as many portions as it has before, and some more: a coarse one must", () => {
    const coarse = updateScaleActivity(unchanged(20), weight(890), at(60)); // then it moved
    const after = (fallen: number) => updateScaleActivity({ ...coarse, portionsFallen: fallen }, weight(890), at(120));
    expect(coarse.longestUnchanged).toBe(6); // no reading showed the twenty
    const seen = updateScaleActivity({ ...unchanged(20), fallenAtReading: 20 }, weight(890), at(60));
    expect(seen.longestUnchanged).toBe(20);
    expect(fault(updateScaleActivity({ ...seen, portionsFallen: 43 }, weight(890), at(120)))).toBeNull();
    expect(fault(updateScaleActivity({ ...seen, portionsFallen: 44 }, weight(890), at(120)))?.kind).toBe("scaleSilent");
    expect(fault(after(16))?.kind).toBe("scaleSilent");
  });

  it("counts from nothing again once its reading changes", () => {
    const changed = updateScaleActivity(unchanged(5, 3), weight(880), at(60));
    expect(changed).toMatchObject({
      lastGrams: 880,
      lastReadAt: at(60),
      portionsFallen: 0,
      fallenAtReading: 0,
      portionsGiven: 0,
      givenAtReading: 0,
    });
    const same = updateScaleActivity(unchanged(5, 3), weight(900), at(60));
    expect(same).toMatchObject({
      lastReadAt: at(60),
      portionsFallen: 5,
      fallenAtReading: 5,
      portionsGiven: 3,
      givenAtReading: 3,
    });
  });

  it("is stuck by portions that nobody saw fall only where the reading was never the same for so long", () => {
    const scale = updateScaleActivity(unchanged(0, 8), weight(900), at(60));
    const constant = {
      value: 900,
      lastReadAt: at(0),
      constantFor: hours(9),
      longestConstant: minutes(10),
      watched: { changeCount: 30, firstReadAt: after(start, days(-9) as never) },
    };
    expect(scaleSilentFault(scale, constant, false)?.reason).toContain("although 8 portions were given");
    expect(scaleSilentFault(scale, { ...constant, constantFor: hours(5) }, false)).toBeNull();
    expect(scaleSilentFault(updateScaleActivity(unchanged(0, 7), weight(900), at(60)), constant, false)).toBeNull();
  });

  it("is silent after ten reports in a row that have other readings but no weight", () => {
    const without = (count: number, more: Partial<Readings>, from = unchanged(0)) =>
      Array.from({ length: count }).reduce<typeof from>(
        (scale) => updateScaleActivity(scale, weight(null, more), at(60)),
        from,
      );
    const air = { air: 5 as never };
    expect(fault(without(9, air))).toBeNull();
    expect(fault(without(10, air))).toMatchObject({
      reason: "The last 10 reports came without the hopper's weight.",
      evidence: [{ value: "10" }, { label: "last weight", value: "900 g", at: start }],
    });
    expect(fault(without(10, air), true)).toBeNull();
    expect(fault(without(10, air, initialScaleActivity()))?.reason).toContain("no report ever had a weight");
    expect(fault(without(59, {}))).toBeNull(); // bare events show little
    expect(fault(without(61, {}))?.kind).toBe("scaleSilent"); // a feeder with a scale only, which is dead
    expect(fault(without(61, {}, initialScaleActivity()))).toBeNull(); // it never had one
    const usual = updateScaleActivity(without(20, air), weight(900), at(60)); // it leaves out twenty now and then
    expect([fault(without(49, air, usual)), fault(without(50, air, usual))?.kind]).toEqual([null, "scaleSilent"]);
    for (const other of ["inside", "lid", "humidity", "supply", "battery", "signalDbm"] as const)
      expect(fault(without(10, { [other]: 1 })), other).not.toBeNull();
    expect(fault(updateScaleActivity(without(10, air), weight(900), at(70)))).toBeNull();
  });
});

describe("a sensor that counts too much", () => {
  const counts = (count: number, every: number, from = initialChatter(start)) =>
    Array.from({ length: count }, (_, n) => at(every * (n + 1))).reduce(updateChatterByCount, from);

  it("is one count in four seconds more than birds may do, 150 times", () => {
    // A count a second drains by a quarter: after n counts the excess is 1 + 0.75 (n − 1).
    expect(counts(99, 1).excess).toBeCloseTo(1 + 0.75 * 98, 9);
    const [before, found] = [counts(199, 1), counts(200, 1)];
    expect(isChattering(before, at(199))).toBe(false);
    expect(isChattering(found, at(200))).toBe(true);
    expect(found).toMatchObject({ counts: 200, zeroAt: at(1), since: at(200) });
    expect(counts(400, 4).excess).toBeCloseTo(1, 9);
  });

  it("is possibly one at a third of that, from which nothing is learnt any more", () => {
    expect(isPossiblyChattering(counts(66, 1))).toBe(false);
    expect(isPossiblyChattering(counts(67, 1))).toBe(true);
  });

  it("is cleared at half of it, and never lasts longer than a quarter of an hour after its last count", () => {
    const full = counts(2_000, 1);
    expect(full.excess).toBe(225);
    expect(isChattering(full, at(2_000 + 599))).toBe(true); // 150 above 75, a quarter a second
    expect(isChattering(full, at(2_000 + 600))).toBe(false);
  });

  it("is the same one where it counts on, and a new one after it was cleared", () => {
    const first = counts(210, 1);
    expect(updateChatterByCount(first, at(211)).since).toBe(at(200));
    const later = Array.from({ length: 250 }, (_, n) => at(2_000 + n)).reduce(updateChatterByCount, first);
    expect(later.since).not.toBe(at(200));
    expect(later.zeroAt).toBe(at(2_000));
  });

  it("takes the counts of a total only as far as birds can't have made them", () => {
    const grown = (growth: number, span: number) =>
      updateChatterByGrowth(initialChatter(start), growth, seconds(span), at(span));
    expect(grown(100, 400).excess).toBe(0);
    expect(grown(160, 40).excess).toBe(150);
    expect(grown(160, 40)).toMatchObject({ counts: 160, zeroAt: start, since: at(40) });
    expect(updateChatterByGrowth(grown(160, 40), 10, seconds(4), at(44))).toMatchObject({
      counts: 170,
      zeroAt: start,
      since: at(40),
    });
  });

  it("learns nothing from an older count that comes late", () => {
    const known = counts(5, 1);
    expect(updateChatterByCount(known, at(4))).toBe(known);
    expect(updateChatterByCount(known, at(5)).counts).toBe(6);
  });
});

describe("a running total", () => {
  const report = (total: number | null, boot = "b-1", different: Partial<Readings> = {}) =>
    ({
      readings: readings({ counts: { ...emptyReadings.counts, perch: total }, ...different }),
      rejectedReadings: [],
      boot,
    }) satisfies Pick<Report, "readings" | "rejectedReadings" | "boot">;
  const visit = (second: number) => ({ kind: "visit", seq: second, recordedAt: at(second) }) as unknown as FeederEvent;
  const known = updateSensorsByReport(initialSensors(start), report(100), at(60), larchSettings);

  it("that is ahead of the events shows activity, once", () => {
    const grown = updateSensorsByReport(known, report(103), at(120), larchSettings);
    expect(grown.perch).toMatchObject({ total: 103, countedSince: 0, lastCountAt: at(120) });
    expect(grown.button.pairings.perch?.openMarks).toBe(1);
    const same = updateSensorsByReport(grown, report(103), at(180), larchSettings);
    expect(same.perch.lastCountAt).toBe(at(120));
  });

  it("that follows the events shows nothing more", () => {
    const counted = [70, 80].reduce(
      (sensors, second) => updateSensorsByEvent(sensors, visit(second), larchSettings),
      known,
    );
    expect(counted.perch.countedSince).toBe(2);
    const reported = updateSensorsByReport(counted, report(102), at(120), larchSettings);
    expect(reported.perch).toMatchObject({ total: 102, countedSince: 0, lastCountAt: at(80) });
    // One event more than the total knows: it is still to come there.
    expect(updateSensorsByReport(counted, report(101), at(120), larchSettings).perch.countedSince).toBe(1);
  });

  it("begins again with a new boot, and is noted where it decreases within one", () => {
    const rebooted = updateSensorsByReport(known, report(3, "b-2"), at(120), larchSettings);
    expect(rebooted.perch).toMatchObject({ total: 3, decrease: null, lastCountAt: null });
    const fell = updateSensorsByReport(known, report(90), at(120), larchSettings);
    expect(fell.perch.decrease).toEqual({ from: 100, to: 90, at: at(120) });
    const shown = (later: Span) => readingFaults(fell, larchSettings, after(at(120), later)).map(({ kind }) => kind);
    expect([shown(hours(23.9)), shown(hours(24))]).toEqual([["countsBackwards"], []]);
    expect(updateSensorsByReport(known, report(null), at(120), larchSettings).perch.total).toBe(100);
  });

  it("counts birds only while the feeder isn't paused, and silence from its end on", () => {
    const paused = updateSensorsByReport(known, report(100, "b-1", { paused: true }), at(120), larchSettings);
    expect(updateSensorsByEvent(paused, visit(130), larchSettings).button.pairings.perch?.openMarks).toBe(0);
    const resumed = updateSensorsByReport(paused, report(100, "b-1", { paused: false }), at(600), larchSettings);
    expect(resumed.perch.silence.silentSince).toBe(at(600));
    expect(
      updateSensorsByReport(known, report(100, "b-1", { paused: false }), at(600), larchSettings).perch.silence
        .silentSince,
    ).toBe(start);
  });

  it("makes one mark of counts within five seconds", () => {
    const marks = (...seconds: number[]) =>
      seconds.reduce((sensors, second) => updateSensorsByEvent(sensors, visit(second), larchSettings), known).button
        .pairings.perch?.openMarks;
    expect([marks(70, 74.9), marks(70, 75), marks(70, 65.1), marks(70, 65)]).toEqual([1, 2, 1, 2]);
  });
});

describe("a portion", () => {
  const given = (different: object, from = initialSensors(start)) =>
    updateSensorsByEvent(
      from,
      { ...barePortion, seq: 1, recordedAt: at(100), ...different } as FeederEvent,
      larchSettings,
    );

  it("shows the press or the deposit that it pays, where that was not reported within a minute", () => {
    expect(given({ cause: "press" }).button.lastCountAt).toBe(at(100));
    expect(given({ cause: "deposit" }).detector.lastCountAt).toBe(at(100));
    expect(given({ cause: "timer" }).button.lastCountAt).toBeNull();
    expect(given({ cause: "press", paysFor: 7 }).button.lastCountAt).toBeNull();
    const pressed = (second: number) =>
      updateSensorsByEvent(
        initialSensors(start),
        { kind: "press", seq: 0, recordedAt: at(second) } as unknown as FeederEvent,
        larchSettings,
      );
    expect(given({ cause: "press" }, pressed(40)).button.lastCountAt).toBe(at(40));
    expect(given({ cause: "press" }, pressed(39.9)).button.lastCountAt).toBe(at(100));
  });

  it("is fallen or given for the scale, by what the chute sensor counted", () => {
    const { scale, chute } = given({ chuteCount: 3 });
    expect([scale.portionsFallen, scale.portionsGiven, chute.countedSince]).toEqual([1, 0, 3]);
    const [unseen, empty, cut] = [
      given({ chuteCount: null }),
      given({ chuteCount: 0 }),
      given({ chuteCount: null, cutShort: true }),
    ];
    expect([unseen, empty, cut].map(({ scale }) => [scale.portionsFallen, scale.portionsGiven])).toEqual([
      [0, 1],
      [0, 0],
      [0, 0],
    ]);
    expect(given({ chuteCount: 2, cutShort: true }).scale.portionsFallen).toBe(1);
  });
});

describe("a deposit", () => {
  const dropped = (different: object) =>
    updateSensorsByEvent(
      initialSensors(start),
      {
        kind: "deposit",
        seq: 1,
        recordedAt: at(100),
        metal: null,
        chute: null,
        signal: null,
        ...different,
      } as unknown as FeederEvent,
      larchSettings,
    );

  it("is the detector's own signal unless it found no metal, which only the beam can see", () => {
    expect(dropped({ metal: true }).detector.lastCountAt).toBe(at(100));
    expect(dropped({ metal: null }).detector.lastCountAt).toBe(at(100));
    expect(dropped({ metal: false }).detector.lastCountAt).toBeNull();
    expect(dropped({ metal: false, chute: true }).detector.pairings.detector?.openMarks).toBe(1);
    expect(dropped({ metal: false, chute: false }).detector.pairings.detector?.openMarks).toBe(0);
    expect(dropped({ metal: true }).button.pairings.detector?.openMarks).toBe(1);
  });
});

describe("a sensor that is found to chatter", () => {
  it("is shown with its counts, since when, and with the others that do", () => {
    const count = (kind: string, sensors = initialSensors(start)) =>
      Array.from({ length: 220 }, (_, n) => at(n + 1)).reduce(
        (known, recordedAt, n) =>
          updateSensorsByEvent(known, { kind, seq: n, recordedAt } as unknown as FeederEvent, larchSettings),
        sensors,
      );
    const [one] = readingFaults(count("visit"), larchSettings, at(221));
    expect(one).toMatchObject({
      kind: "sensorChattering",
      evidence: [{ label: "counts of the perch sensor", value: "220", at: at(1) }],
    });
    const [both] = readingFaults(count("press", count("visit")), larchSettings, at(221));
    expect(both?.evidence.map(({ label }) => label)).toEqual(["counts of the button", "counts of the perch sensor"]);
    expect(both?.reason).toContain("So does the perch sensor.");
  });
});
