import type { Story, WorldFault } from "../world.ts";
import { Random } from "./random.ts";
import { day } from "./time.ts";

/** The story's fault, and how it shows in this feeder. Drawn from its own stream, so that nothing before it changes. */
export class PlantedFault {
  readonly kind: WorldFault | null;
  readonly since: number;
  readonly traits: FaultTraits;

  constructor(story: Story, begin: number) {
    this.kind = story.fault?.kind ?? null;
    this.since = begin + (story.fault?.at ?? Number.POSITIVE_INFINITY);
    this.traits = drawTraits(Random.named(story.seed, "fault"));
  }

  is(kind: WorldFault, at: number): boolean {
    return this.kind === kind && at >= this.since;
  }

  /** What a dirty beam still has of its light; it creeps to nothing within a week. */
  sightLeft(at: number): number {
    if (this.is("chuteBlind", at)) return 0;
    if (!this.is("chuteDirty", at)) return 1;
    return Math.max(0, 1 - (at - this.since) / this.traits.dirtSpan);
  }

  /** Of a usual portion, what gets from the screw to the tray. */
  shareThatFalls(at: number): number {
    if (this.is("trayJammed", at)) return 0;
    return this.is("trayPartlyJammed", at) ? this.traits.partlyShare : 1;
  }
}

interface FaultTraits {
  readonly partlyShare: number;
  readonly throatPortions: number;
  readonly jamLoad: number;
  readonly partlyLoad: number;
  readonly dirtSpan: number;
  readonly scaleFlickers: boolean;
  readonly scaleLeftOut: boolean;
  readonly stuckTogether: boolean;
  readonly burstsPerDay: number;
  readonly burstPresses: number;
}

const drawTraits = (random: Random): FaultTraits => ({
  partlyShare: random.between(0.1, 0.5),
  throatPortions: random.between(0.5, 5),
  jamLoad: random.between(1.4, 2.6), // by the usual current: the screw slips or crushes; common practice, no source
  partlyLoad: random.between(0.95, 1.4),
  dirtSpan: random.between(5, 7) * day,
  scaleFlickers: random.chance(0.5), // one step up or down, now and then
  scaleLeftOut: random.chance(0.5), // the reading is left out; otherwise it is null
  stuckTogether: random.chance(0.5), // the humidity of the same chip is stuck as well
  burstsPerDay: random.logBetween(4, 60),
  burstPresses: random.logBetween(3, 60),
});
