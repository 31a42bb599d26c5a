import { describe, expect, it } from "vitest";
import type { Alarm } from "../../../server/domain/alarms/alarm.ts";
import { shelve, takeOutOfService } from "../../../server/domain/alarms/alarmResponses.ts";
import {
  currentPriority,
  explainedFaults,
  type FaultSituation,
  suppressionOf,
  suppressions,
} from "../../../server/domain/alarms/suppression.ts";
import { type Fault, type FaultKind, faultKinds, type Priority, ruleOf } from "../../../server/domain/faults.ts";
import { after, days, instantOf } from "../../../server/domain/instant.ts";

const now = instantOf("2026-12-01T06:00:00Z");
const found = (kind: FaultKind): Fault => ({ kind, reason: "", evidence: [], confidence: null });
const where = (kinds: readonly FaultKind[], change: Partial<FaultSituation> = {}): FaultSituation => ({
  faults: new Map(kinds.map((kind) => [kind, found(kind)])),
  alarms: {},
  paused: false,
  placement: "inGarden",
  now,
  ...change,
});
const speaker = (kind: FaultKind, situation: FaultSituation) => suppressionOf(kind, situation)?.explainedBy ?? null;
const why = (kind: FaultKind, situation: FaultSituation) => suppressionOf(kind, situation)?.reason ?? null;

const of = (kind: FaultKind) => ({ kind, rule: ruleOf(kind), now }) as const;
const shelved = (kind: FaultKind): Alarm => shelve(null, after(now, days(2)), "Ada", of(kind)).alarm as Alarm;
const out = (kind: FaultKind): Alarm => takeOutOfService(null, "Being mended.", "Ada", of(kind)).alarm as Alarm;

/** Each cause with all that it explains, at its first place; what is named already below another is left out. */
function tree(): string {
  const direct = (cause: FaultKind) => faultKinds.filter((kind) => ruleOf(kind).explainedBy.includes(cause));
  const reached = (cause: FaultKind): Set<FaultKind> => {
    const all = new Set(direct(cause));
    for (const kind of all) for (const next of direct(kind)) all.add(next); // a set's loop sees what it gains
    return all;
  };
  const lines = (kind: FaultKind, depth: number): string[] => {
    const below = direct(kind);
    const own = below.filter((one) => !below.some((other) => other !== one && reached(other).has(one)));
    return [`${"  ".repeat(depth)}${ruleOf(kind).title}`, ...own.flatMap((one) => lines(one, depth + 1))];
  };
  return faultKinds
    .filter((kind) => ruleOf(kind).explainedBy.length === 0)
    .flatMap((kind) => lines(kind, 0))
    .join("\n");
}

describe("a feeder that doesn't report regularly and has no reports now", () => {
  it("shows no more than one without reports", () => {
    const situation = where(["reportsIrregular"]);
    expect(suppressionOf("foodOut", situation)).toMatchObject({
      explainedBy: "reportsIrregular",
      isUnobservable: true,
    });
    expect(suppressionOf("pauseOverdue", situation)).toBeNull();
  });
});

describe("the tree of causes", () => {
  it("never comes back to itself, so that no two faults hush each other", () => {
    const causes = (kind: FaultKind): ReadonlySet<FaultKind> => {
      const all = new Set<FaultKind>(ruleOf(kind).explainedBy);
      for (const one of all) for (const by of ruleOf(one).explainedBy) all.add(by);
      return all;
    };
    for (const kind of faultKinds) expect([...causes(kind)], kind).not.toContain(kind);
  });

  it("is this one", () => {
    expect(`\n${tree()}\n`).toMatchInlineSnapshot(`
      "
      no reports
        motor stalled
          supply voltage low
            motor not turning
              tray jammed
                food stuck above the tray
                  no food falls
                    deposit without a portion
                      no portion, perhaps by the feeder's own rule
                    button not working
                    metal detector not working
                      metal detector misses caps
                    perch sensor not working
              free food not given
            counter went backwards
        hopper empty
          tray jammed
            food stuck above the tray
              no food falls
                deposit without a portion
                  no portion, perhaps by the feeder's own rule
                button not working
                metal detector not working
                  metal detector misses caps
                perch sensor not working
          food low
        charging in frost
        battery near freezing
          supply voltage low
            motor not turning
              tray jammed
                food stuck above the tray
                  no food falls
                    deposit without a portion
                      no portion, perhaps by the feeder's own rule
                    button not working
                    metal detector not working
                      metal detector misses caps
                    perch sensor not working
              free food not given
            counter went backwards
        reports can't be read
        may still be paused
        chute sensor not working
        scale not working
        sensor counts too much
        reading stuck
        reading impossible
        feeding plan not followed
        boot id reused
        food may cake
        ice likely on tray and slot
          frost inside
        problem reported by the feeder
      feeding while paused
        pause not followed
          pause not confirmed
      irregular reports
      "
    `);
  });

  it("holds all but a pause that did not arrive under a feeder's silence", () => {
    const free = faultKinds.filter((kind) => suppressionOf(kind, where(["feederSilent"])) === null);
    expect(free).toEqual([
      "feederSilent",
      "feedsThoughPaused",
      "pauseContradicted",
      "pauseOverdue",
      "reportsIrregular",
    ]);
  });
});

describe("a fault that another explains", () => {
  it("names its cause instead of raising an alarm", () => {
    const both = where(["depositUnpaid", "trayJammed"]);
    expect(suppressionOf("depositUnpaid", both)).toEqual({
      ...{ reason: "Caused by: tray jammed.", explainedBy: "trayJammed", isUnobservable: false },
    });
    expect(suppressionOf("trayJammed", both)).toBeNull();
  });

  it.each<[FaultKind, FaultKind]>([
    ["trayJammed", "foodOut"],
    ["feedBridged", "foodOut"],
    ["depositUnpaid", "foodOut"],
    ["foodLow", "foodOut"],
    ["motorNotTurning", "supplyWeak"],
    ["depositUnpaid", "supplyWeak"],
    ["countsBackwards", "supplyWeak"],
    ["supplyWeak", "motorStalled"],
    ["supplyWeak", "batteryFreezing"],
    ["buttonSilent", "foodOut"],
    ["perchSilent", "trayJammed"],
    ["frostInside", "iceLock"],
    ["detectorDrifting", "detectorSilent"],
  ])("%s stands under %s, and never the other way round", (kind, cause) => {
    expect(speaker(kind, where([kind, cause]))).toBe(cause);
    expect(speaker(cause, where([kind, cause]))).toBeNull();
  });

  it.each<[FaultKind, FaultKind]>([
    ["trayJammed", "iceLock"], // ice is likely, a jam is proved
    ["feedBridged", "feedCaking"],
    ["scaleSilent", "foodOut"], // a scale needs no birds
    ["chargingInFrost", "batteryFreezing"], // one must be unplugged, the other carried in
    ["pauseOverdue", "feederSilent"],
    ["troubleReported", "supplyWeak"], // its text may mean anything
  ])("%s is no consequence of %s: both are notified", (kind, other) => {
    expect(suppressionOf(kind, where([kind, other]))).toBeNull();
  });

  it("is listed under the cause of its cause, which is the one that notifies", () => {
    const chain = where(["batteryFreezing", "supplyWeak", "motorNotTurning", "trayJammed"]);
    for (const kind of ["supplyWeak", "motorNotTurning", "trayJammed"] as const) {
      expect(speaker(kind, chain)).toBe("batteryFreezing");
    }
    expect(explainedFaults("batteryFreezing", suppressions(chain), chain)).toEqual([
      ...["motorNotTurning", "trayJammed", "supplyWeak"],
    ]);
    expect(explainedFaults("supplyWeak", suppressions(chain), chain)).toEqual([]);
  });
});

describe("a cause that explains a more urgent fault", () => {
  const priority = (kind: FaultKind, situation: FaultSituation): Priority =>
    currentPriority(kind, explainedFaults(kind, suppressions(situation), situation), situation);

  it("takes its priority", () => {
    expect(priority("supplyWeak", where(["supplyWeak"]))).toBe("soon");
    expect(priority("supplyWeak", where(["supplyWeak", "countsBackwards"]))).toBe("soon");
    expect(priority("supplyWeak", where(["supplyWeak", "motorNotTurning"]))).toBe("urgent");
  });

  it("does not where a pause suppresses the more urgent fault, or a keeper has shelved it", () => {
    const both = ["supplyWeak", "motorNotTurning"] as const;
    expect(priority("supplyWeak", where(both, { paused: true }))).toBe("soon");
    expect(priority("supplyWeak", where(both, { alarms: { motorNotTurning: shelved("motorNotTurning") } }))).toBe(
      "soon",
    );
    expect(priority("supplyWeak", where(both, { alarms: { motorNotTurning: out("motorNotTurning") } }))).toBe("soon");
  });
});

describe("a cause that the keeper has shelved", () => {
  it("explains what is not more urgent, and nothing that is", () => {
    const alarms = { supplyWeak: shelved("supplyWeak"), foodOut: shelved("foodOut") };
    expect(speaker("countsBackwards", where(["supplyWeak", "countsBackwards"], { alarms }))).toBe("supplyWeak");
    expect(speaker("motorNotTurning", where(["supplyWeak", "motorNotTurning"], { alarms }))).toBeNull();
    expect(speaker("depositUnpaid", where(["foodOut", "depositUnpaid"], { alarms }))).toBe("foodOut");
  });

  it("leaves what it may not explain to the next cause", () => {
    const alarms = { supplyWeak: shelved("supplyWeak") };
    const chain = where(["supplyWeak", "motorNotTurning", "depositUnpaid"], { alarms });
    expect(speaker("depositUnpaid", chain)).toBe("motorNotTurning");
    expect(speaker("motorNotTurning", chain)).toBeNull();
  });

  it("explains again after the shelving has ended, so that nothing notifies twice", () => {
    const alarms = { supplyWeak: shelved("supplyWeak") };
    const later = where(["supplyWeak", "motorNotTurning"], { alarms, now: after(now, days(2)) });
    expect(speaker("motorNotTurning", later)).toBe("supplyWeak");
  });

  it("out of service explains nothing: its reports are not trusted", () => {
    const alarms = { foodOut: out("foodOut") };
    expect(speaker("depositUnpaid", where(["foodOut", "depositUnpaid"], { alarms }))).toBeNull();
  });
});

describe("a paused feeder", () => {
  it("suppresses the faults of feeding, and no others", () => {
    const resting = faultKinds.filter((kind) => suppressionOf(kind, where([], { paused: true })) !== null);
    expect(resting).toEqual([
      "motorNotTurning",
      "motorStalled",
      "foodOut",
      "trayJammed",
      "feedBridged",
      "feedStopped",
      "depositUnpaid",
      "paymentUnclear",
      "chuteBlind",
      "buttonSilent",
      "detectorSilent",
      "perchSilent",
      "scaleSilent",
    ]);
  });

  it("still raises low food, though an empty hopper is suppressed", () => {
    const both = ["foodOut", "foodLow"] as const;
    expect(suppressionOf("foodLow", where(both, { paused: true }))).toBeNull();
    expect(why("foodLow", where(both))).toBe("Caused by: hopper empty.");
    expect(why("foodOut", where(both, { paused: true }))).toBe("The feeder is paused.");
  });
});

describe("a feeder that is not in the garden", () => {
  it("in the workshop notifies only of a pause that did not arrive", () => {
    const free = faultKinds.filter((kind) => suppressionOf(kind, where([], { placement: "onBench" })) === null);
    expect(free).toEqual(["feedsThoughPaused", "pauseContradicted", "pauseOverdue"]);
    expect(why("trayJammed", where(["trayJammed"], { placement: "onBench" }))).toBe("The feeder is in the workshop.");
  });

  it("in storage notifies of what can cause damage there, and of nothing else", () => {
    const free = faultKinds.filter((kind) => suppressionOf(kind, where([], { placement: "putAway" })) === null);
    expect(free).toEqual([
      "feedsThoughPaused",
      "pauseContradicted",
      "pauseOverdue",
      "chargingInFrost",
      "batteryFreezing",
    ]);
    expect(why("feederSilent", where(["feederSilent"], { placement: "putAway" }))).toBe("The feeder is in storage.");
  });

  it("on a bench run notifies of power, cold, reports and pauses, and of nothing that the run itself may cause", () => {
    const hidden = faultKinds.filter((kind) => suppressionOf(kind, where([], { placement: "benchRun" })) !== null);
    expect(new Set(hidden)).toEqual(
      new Set([
        ...["motorNotTurning", "motorStalled", "foodOut", "foodLow", "trayJammed", "feedBridged", "feedStopped"],
        ...[
          "depositUnpaid",
          "paymentUnclear",
          "chuteBlind",
          "buttonSilent",
          "detectorSilent",
          "perchSilent",
          "scaleSilent",
        ],
        "sensorChattering",
      ]),
    );
    expect(why("trayJammed", where(["trayJammed"], { placement: "benchRun" }))).toBe("A bench run is under way.");
  });

  it("put away and unplugged leaves open what became of its battery", () => {
    const situation = where(["feederSilent"], { placement: "putAway" });
    expect(suppressionOf("batteryFreezing", situation)).toMatchObject({
      explainedBy: "feederSilent",
      isUnobservable: true,
    });
    expect(suppressionOf("trayJammed", situation)).toEqual({
      ...{ reason: "The feeder is in storage.", explainedBy: null, isUnobservable: true },
    });
  });
});
