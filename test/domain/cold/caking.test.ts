import { describe, expect, it } from "vitest";
import { updateColdByRefill } from "../../../server/domain/cold/cold.ts";
import { instantOf } from "../../../server/domain/instant.ts";
import { larchSettings } from "../silence/larch.ts";
import { ColdRun } from "./coldRun.ts";

const start = instantOf("2026-01-15T00:00:00Z");
/** A day that freezes the box by night and thaws it for eight hours. */
const round = (play: ColdRun, humidity: number | undefined): ColdRun => {
  const damp = humidity === undefined ? {} : { humidity };
  return play.times(96, { inside: -4, ...damp }).times(48, { inside: 3, ...damp });
};
const rounds = (count: number, humidity: number | undefined): ColdRun => {
  const play = new ColdRun(larchSettings, ["feedCaking"], start);
  for (let n = 0; n < count; n++) round(play, humidity);
  return play;
};

describe("food that may cake", () => {
  it("is noted after four rounds of frost and thaw in a damp box (common practice, no source)", () => {
    expect(rounds(3, 92).fault()).toBeNull();
    expect(rounds(4, 92).fault()?.reason).toBe(
      "The food has frozen and thawed 4 times since the last refill, and the box was damp in between: it may cake and then bridge or jam.",
    );
  });

  it("takes ten rounds in a dry box, or where nothing tells of damp", () => {
    for (const humidity of [60, undefined]) {
      expect(rounds(9, humidity).fault()).toBeNull();
      expect(rounds(10, humidity).fault()?.reason).toBe(
        "The food has frozen and thawed 10 times since the last refill: it may cake and then bridge or jam.",
      );
    }
  });

  it("is one note that stays until the refill, and is counted again from then", () => {
    const play = rounds(4, 92);
    for (let n = 0; n < 5; n++) round(play, 92);
    expect(play.rang).toHaveLength(1);
    play.cold = updateColdByRefill(play.cold);
    expect(play.report({ inside: 3, humidity: 92 }).fault()).toBeNull();
    for (let n = 0; n < 3; n++) round(play, 92);
    expect(play.fault()).toBeNull();
    expect(round(play, 92).fault()).not.toBeNull();
  });

  it("isn't counted in a steady frost, however long, nor by a thermometer that trembles about zero", () => {
    const play = new ColdRun(larchSettings, ["feedCaking"], start);
    for (let n = 0; n < 3_000; n++) play.report({ inside: -8 + 5 * Math.sin(n / 20), humidity: 95 });
    for (let n = 0; n < 3_000; n++) play.report({ inside: n % 2 === 0 ? 0.7 : -0.7, humidity: 95 });
    expect(play.rang).toEqual([]);
  });

  it("doesn't count the hours of a silence as damp", () => {
    const play = new ColdRun(larchSettings, ["feedCaking"], start);
    for (let n = 0; n < 5; n++) {
      play.times(6, { inside: -4, humidity: 92 }).times(2, { inside: 3, humidity: 92 });
      play.now = (play.now + 20 * 3_600_000) as typeof play.now;
    }
    expect(play.report({ inside: 3, humidity: 92 }).fault()).toBeNull();
  });
});
