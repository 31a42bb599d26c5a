import { describe, expect, it } from "vitest";
import { augerWorld } from "./auger/augerWorld.ts";
import { beltWorld } from "./belt/beltWorld.ts";
import { sealedWorld } from "./sealed/sealedWorld.ts";
import { sixDispensersWorld } from "./sixDispensers/sixDispensersWorld.ts";
import { trayWorld } from "./tray/trayWorld.ts";
import { wheelWorld } from "./wheel/wheelWorld.ts";
import type { World } from "./world.ts";
import { allSensors } from "./yard/toldStory.ts";
import { yardWorld } from "./yard/yardWorld.ts";

const worlds = {
  auger: augerWorld,
  wheel: wheelWorld,
  tray: trayWorld,
  sixDispensers: sixDispensersWorld,
  belt: beltWorld,
  sealed: sealedWorld,
  yard: yardWorld,
};

/** Lost reports and a second's jitter leave the median where it is. */
function medianSeconds(world: World, reportEverySeconds: 30 | 60 | 300): number {
  const story = { seed: 4, days: 1, reportEverySeconds, sensors: allSensors, fault: null, refills: "never" } as const;
  const times = [...world.tell(story, { asksForFood: false })].flatMap(({ line }) =>
    line.kind === "report" ? [line.at as number] : [],
  );
  const gaps = times.slice(1).map((at, index) => at - (times[index] ?? 0));
  return (gaps.toSorted((a, b) => a - b)[Math.floor(gaps.length / 2)] ?? Number.NaN) / 1_000;
}

describe.each(Object.entries(worlds))("the world %s", (_, world) => {
  it.each([30, 60, 300] as const)("reports each %i s, as its story says", (every) => {
    expect(Math.abs(medianSeconds(world, every) - every)).toBeLessThan(0.05 * every);
  });
});
