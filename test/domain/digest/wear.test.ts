import { describe, expect, it } from "vitest";
import { wearLines } from "../../../server/domain/digest/wear.ts";
import { initialChuteModel, updateChuteModel } from "../../../server/domain/feed/chuteModel.ts";
import { initialMotorModel, updateMotorModel } from "../../../server/domain/feed/motorModel.ts";
import type { FeederState } from "../../../server/domain/feeder.ts";
import { days, instantOf, minutes, after as past } from "../../../server/domain/instant.ts";
import { celsius, milliamps } from "../../../server/domain/units.ts";
import { digestFeederFixture, feederWithPortions, now, withAlarm, yard } from "./digestFeederFixture.ts";

const start = instantOf("2026-08-25T06:00:00Z");

/** A motor that gave thirty portions a day for so many days, with what it drew on each. */
function motorAfter(count: number, drew: (day: number) => number, warmth: (day: number) => number = () => 10) {
  let motor = initialMotorModel;
  for (let day = 0; day < count; day++) {
    for (let n = 0; n < 30; n++) {
      const at = past(start, (days(day) + n * minutes(20)) as never);
      const ripple = 1 + 0.02 * Math.sin(n * 2.4);
      motor = updateMotorModel(motor, milliamps(drew(day) * ripple), at, celsius(warmth(day)), true);
    }
  }
  return motor;
}

const withMotor = (state: FeederState, motor: FeederState["feed"]["motor"]): FeederState => ({
  ...state,
  feed: { ...state.feed, motor },
});
const linesOf = (...states: readonly FeederState[]) =>
  wearLines(
    states.map((state) => digestFeederFixture(state)),
    yard.zone,
    now,
  );

describe("wear in the digest", () => {
  it("is not mentioned where no number shows it", () => {
    expect(linesOf(feederWithPortions("Rowan"))).toEqual([]);
  });

  it("is reported as none where the motor current is as at first", () => {
    expect(
      linesOf(
        withMotor(
          feederWithPortions("Rowan"),
          motorAfter(90, () => 240),
        ),
      ),
    ).toEqual(["No signs of wear."]);
  });

  it("is seen in a motor that draws ever more, against its own first days", () => {
    const worn = withMotor(
      feederWithPortions("Rowan"),
      motorAfter(90, (day) => 240 * (1 + 0.004 * day)),
    );
    expect(linesOf(worn)).toHaveLength(1);
    expect(linesOf(worn)[0]).toMatch(
      /^Rowan: motor current about 35 % higher than on Tuesday 25 August, \d+ portions ago: check tray and bearing\.$/,
    );
  });

  it("is not seen in grease that the winter makes stiff", () => {
    const warmth = (day: number) => 15 - 0.3 * day + 4 * Math.sin(day);
    const stiff = motorAfter(90, (day) => 240 * Math.exp(0.008 * (15 - warmth(day))), warmth);
    expect(stiff.lastMilliamps).toBeGreaterThan(1.2 * 240);
    expect(linesOf(withMotor(feederWithPortions("Rowan"), stiff))).toEqual(["No signs of wear."]);
  });

  it("starts again with another motor", () => {
    const replaced = motorAfter(90, (day) => (day < 45 ? 240 : 480));
    expect(replaced.baseline?.portions).toBeLessThan(46 * 30);
    expect(linesOf(withMotor(feederWithPortions("Rowan"), replaced))).toEqual(["No signs of wear."]);
  });

  it("is seen in a chute sensor that misses ever more, unless an alarm shows it already", () => {
    let chute = initialChuteModel;
    for (let n = 0; n < 400; n++) chute = updateChuteModel(chute, n % 8 === 0 ? 0 : 3);
    const state = feederWithPortions("Rowan");
    const dusty = { ...state, feed: { ...state.feed, chute } };
    expect(linesOf(dusty)).toEqual(["Rowan: its chute sensor misses about 1 of 9 portions: clean it."]);
    expect(linesOf(withAlarm(dusty, "chuteBlind", now))).toEqual(["No signs of wear."]);
    const well = Array.from({ length: 400 }).reduce<typeof chute>(
      (habit) => updateChuteModel(habit, 3),
      initialChuteModel,
    );
    expect(linesOf({ ...state, feed: { ...state.feed, chute: well } })).toEqual(["No signs of wear."]);
  });

  it("names only the feeder that it shows on", () => {
    const sound = withMotor(
      feederWithPortions("Larch"),
      motorAfter(90, () => 240),
    );
    const worn = withMotor(
      feederWithPortions("Rowan"),
      motorAfter(90, (day) => 240 * (1 + 0.004 * day)),
    );
    expect(linesOf(sound, worn).map((line) => line.slice(0, 6))).toEqual(["Rowan:"]);
  });
});
