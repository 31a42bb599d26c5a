import { after, type Span } from "../../../server/domain/instant.ts";
import { type PlantedFaultKind, type Plot, randomPlot } from "../../simulator/plot.ts";
import { simulatePlot } from "../../simulator/simulatePlot.ts";
import type { KeeperPhone, Story, World, WorldFault, WorldMoment } from "../world.ts";
import { YardLedger } from "./ledger.ts";

/**
 * Our oldest simulator, `test/simulator/`, as one of the worlds: a tray that a motor turns under a hopper, near 59.5 N 17.8 E, from
 * October to April.
 *
 * The detectors were developed on it, and it shares weather, birds, cell and tray with the practice feeders. So it is no witness: what
 * the server concludes here says what the others' figures are to be compared with, not how it does on a feeder that nobody tuned it to.
 */
export const yardWorld: World = { name: "yard", neverPlants: ["paysNoMore"], tell };

function* tell(story: Story, phone: KeeperPhone): Generator<WorldMoment> {
  const plot = plotOf(story);
  const ledger = new YardLedger(plot);
  const keeper = {
    get asksForFood() {
      return story.refills === "whenAsked" && phone.asksForFood;
    },
  };
  for (const { line, truth } of simulatePlot(plot, keeper, ledger)) yield { line, truth: ledger.truth(line.at, truth) };
}

const place = { latitudeDegrees: 59.5, longitudeDegrees: 17.8 };

function plotOf({ seed, days: storyDays, reportEverySeconds, sensors, fault }: Story): Plot {
  const { button, detector, chute, perch, scale, motorCurrent, portionEvents } = sensors;
  const drawn = randomPlot(seed);
  return {
    ...drawn,
    days: storyDays,
    place,
    reportEverySeconds,
    sensors: { button, detector, chute, perch, scale },
    currentMeasured: motorCurrent,
    portionsReported: portionEvents,
    birds: birdsOf(drawn, storyDays, button || detector),
    keeper: { ...drawn.keeper, refillsBelow: "whenNotified" },
    fault: fault && { kind: plotFaultOf(fault.kind), at: after(drawn.from, fault.at as Span) },
  };
}

/** A flock's growth over more than two months would multiply it without end: it has grown as much by the story's end. */
const growthDays = 60;

/** Where nothing is paid for, a timer gives most of what the birds would have earned. */
function birdsOf({ birds }: Plot, storyDays: number, isPaid: boolean): Plot["birds"] {
  const trendPerDay = birds.trendPerDay * Math.min(1, growthDays / storyDays);
  const timerPerDay = isPaid ? birds.timerPerDay : Math.round(0.8 * birds.portionsPerDay);
  return { ...birds, trendPerDay, timerPerDay };
}

type PlantedHere = Exclude<WorldFault, "paysNoMore">;

function plotFaultOf(kind: WorldFault): PlantedFaultKind {
  if (kind === "paysNoMore") throw new RangeError(`the yard has no physics for the fault ${kind}`);
  return plotFaults[kind];
}

const plotFaults: Readonly<Record<PlantedHere, PlantedFaultKind>> = {
  foodOut: "hopperEmpty",
  foodBridged: "feedBridged",
  trayJammed: "trayJammed",
  trayPartlyJammed: "trayPartlyJammed",
  motorStalled: "motorStalled",
  motorWireOff: "wireOff",
  chuteBlind: "chuteBlind",
  chuteDirty: "chuteDirty",
  scaleStuck: "scaleStuck",
  scaleDead: "scaleDead",
  detectorDeaf: "detectorDeaf",
  buttonDead: "buttonDead",
  buttonChatters: "buttonChatters",
  perchDead: "perchDead",
  thermometerStuck: "thermometerStuck",
};
