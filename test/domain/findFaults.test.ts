import { describe, expect, it } from "vitest";
import { type Fault, type FaultKind, faultKinds, ruleOf } from "../../server/domain/faults.ts";
import { suppressedBecause } from "../../server/domain/findFaults.ts";

const found = (...kinds: FaultKind[]): Fault[] => kinds.map((kind) => ({ kind, reason: "", evidence: [], sure: null }));

describe("a fault that another explains", () => {
  it("names its cause instead of raising an alarm", () => {
    expect(suppressedBecause("depositUnpaid", found("depositUnpaid", "trayJammed"), false)).toBe(
      "Explained by: tray jammed.",
    );
    expect(suppressedBecause("trayJammed", found("depositUnpaid", "trayJammed"), false)).toBeNull();
  });

  it("is any but a pause that did not arrive, where the feeder is silent", () => {
    const silent = found("feederSilent");
    const free = faultKinds.filter((kind) => suppressedBecause(kind, silent, false) === null);
    expect(free).toEqual(["feederSilent", "pauseOverdue"]);
  });

  it("never explains its own cause, so that no two faults hush each other", () => {
    const causes = (kind: FaultKind): ReadonlySet<FaultKind> => {
      const all = new Set<FaultKind>([kind]);
      for (const one of all) for (const by of ruleOf(one).explainedBy) all.add(by); // a set's loop sees what it gains
      return all;
    };
    for (const kind of faultKinds) {
      for (const by of ruleOf(kind).explainedBy) expect([...causes(by)]).not.toContain(kind);
    }
  });
});

describe("a paused feeder", () => {
  it("rests in all that a standing feeder can't do, and in nothing else", () => {
    const resting = faultKinds.filter((kind) => suppressedBecause(kind, [], true) !== null);
    expect(resting).toEqual([
      "motorNotTurning",
      "motorStalled",
      "foodOut",
      "trayJammed",
      "feedBridged",
      "feedStopped",
      "depositUnpaid",
      "chuteBlind",
      "buttonSilent",
      "detectorSilent",
      "perchSilent",
      "scaleSilent",
    ]);
  });

  it("still tells that food is low, though its being out is at rest", () => {
    expect(suppressedBecause("foodLow", found("foodOut", "foodLow"), true)).toBeNull();
    expect(suppressedBecause("foodLow", found("foodOut", "foodLow"), false)).toBe("Explained by: food out.");
  });
});
