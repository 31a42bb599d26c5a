import type { FaultKind } from "../../../server/domain/faults.ts";
import type { FeederState } from "../../../server/domain/feeder.ts";
import { hopperLevel, learntPortion } from "../../../server/domain/hopper/level.ts";
import { type Instant, later } from "../../../server/domain/instant.ts";
import { Replay } from "../../../server/replay/replay.ts";
import type { Story, World } from "../../worlds/world.ts";
import { type Contradiction, findContradictions, type Shown } from "./contradictions.ts";
import { FeederRecord } from "./feederRecord.ts";

/** What was read in one story, and where it contradicts the feeder. */
export interface ReasonFigures {
  readonly alarms: ReadonlySet<FaultKind>; // of which reasons were read
  readonly moments: number; // alarms in force, each at each line of the log
  readonly reasons: number; // different ones of these
  readonly broken: readonly BrokenReason[]; // the first moment of each
}

export interface BrokenReason extends Contradiction {
  readonly fault: FaultKind;
  readonly reason: string;
  readonly moments: number;
}

export function judgeReasons(world: World, story: Story): ReasonFigures {
  const phone = { asksForFood: false };
  const replay = new Replay({ settings: {}, hourly: false, output: () => {} });
  const record = new FeederRecord(story.sensors);
  const tally = new Tally();
  for (const { line } of world.tell(story, phone)) {
    if (replay.take(line).length > 0) continue;
    record.take(line);
    const state = replay.stateOf(line.feeder);
    if (state === null) continue;
    phone.asksForFood = isInForce(state, "foodLow") || isInForce(state, "foodOut");
    readAlarms(state, record, tally);
  }
  return tally;
}

const isInForce = ({ alarms }: FeederState, kind: FaultKind): boolean => {
  const state = alarms[kind]?.state;
  return state === "unacknowledged" || state === "acknowledged";
};

/**
 * Alarms of faults that are present and can be seen: without reports, what was last known is told as that (currentFindings.ts).
 * One that a cause explains is listed with it, so its words count as well.
 */
function readAlarms(state: FeederState, record: FeederRecord, tally: Tally): void {
  const { alarms, hopper, settings } = state;
  const isSilent = alarms.feederSilent?.present === true || alarms.reportsIrregular?.present === true;
  let shown: Shown | null = null;
  for (const [kind, alarm] of Object.entries(alarms) as [FaultKind, NonNullable<FeederState["alarms"][FaultKind]>][]) {
    if (!alarm.present || alarm.state === "suspected") continue;
    if (isSilent && kind !== "feederSilent" && kind !== "reportsIrregular") continue;
    shown ??= {
      levelGrams: hopperLevel(hopper, settings)?.grams ?? null,
      portionGrams: learntPortion(hopper).mean,
      capacityGrams: settings.hopperCapacity,
      refilledAt: latest(record.refilledAt, hopper.foundRefill?.at ?? null),
    };
    tally.add(kind, alarm.finding.reason, findContradictions(kind, alarm.finding, record, shown));
  }
}

const latest = (one: Instant | null, other: Instant | null): Instant | null =>
  one === null || other === null ? (one ?? other) : later(one, other);

class Tally implements ReasonFigures {
  readonly alarms = new Set<FaultKind>();
  readonly #reasons = new Set<string>();
  readonly #broken = new Map<string, BrokenReason & { moments: number }>();
  moments = 0;

  get reasons(): number {
    return this.#reasons.size;
  }

  get broken(): readonly BrokenReason[] {
    return [...this.#broken.values()];
  }

  add(fault: FaultKind, reason: string, found: readonly Contradiction[]): void {
    this.alarms.add(fault);
    this.moments += 1;
    this.#reasons.add(reason);
    for (const one of found) {
      const key = `${fault} ${one.rule} ${reason}`;
      const known = this.#broken.get(key);
      if (known === undefined) this.#broken.set(key, { ...one, fault, reason, moments: 1 });
      else known.moments += 1;
    }
  }
}
