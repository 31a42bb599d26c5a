import type { Alarm } from "../domain/alarms/alarm.ts";
import { isRaise } from "../domain/alarms/alarmEvents.ts";
import type { AlarmChange, AlarmState } from "../domain/alarms/alarmStates.ts";
import type { InForce, Ring, RingRecord } from "../domain/comparison/ringRecord.ts";
import type { Effect } from "../domain/effects.ts";
import type { FaultKind, Priority } from "../domain/faults.ts";
import type { Instant } from "../domain/instant.ts";
import type { AlarmEvent } from "../domain/notification/escalation.ts";

/** Collects from the steps of a replay what would have rung. */
export class RingCollector {
  readonly #rings: Writable<Ring>[] = [];
  readonly #inForce: Writable<InForce>[] = [];
  /** The latest ones by feeder and fault. */
  readonly #lastRings = new Map<string, Writable<Ring>>();
  readonly #lastInForce = new Map<string, Writable<InForce>>();

  /** The feeder's alarms at the begin of the replay: those in force rang before. */
  begin(feeder: string, alarms: Alarms, at: Instant): void {
    for (const [fault, { state }] of Object.entries(alarms)) {
      if (inForceStates.has(state)) this.#open(feeder, fault, at);
    }
  }

  /** @param before the feeder's alarms before the step. */
  add(feeder: string, before: Alarms, effects: readonly Effect[]): void {
    for (const effect of effects) {
      if (effect.kind === "alarmChanged") this.#addChange(feeder, effect.change, before[effect.change.fault] ?? null);
      if (effect.kind === "alarmEvent") this.#addEvent(feeder, effect.event);
    }
  }

  record(): RingRecord {
    return { rings: this.#rings, inForce: this.#inForce };
  }

  /** Its changes come before the events that follow from them. */
  #addChange(feeder: string, change: AlarmChange, before: Alarm | null): void {
    const { fault, to, at, priority } = change;
    const key = `${feeder} ${fault}`;
    if (endStates.has(to)) this.#end(this.#lastRings.get(key), at);
    if (priority === "note" && isRaise(change, before)) this.#ring(feeder, fault, priority, at);
    const last = this.#lastInForce.get(key);
    const isOpen = last !== undefined && last.to === null;
    if (inForceStates.has(to) === isOpen) return;
    if (isOpen) last.to = at;
    else this.#open(feeder, fault, at);
  }

  #addEvent(feeder: string, event: AlarmEvent): void {
    if (event.kind !== "raised" && event.kind !== "worsened") return;
    const { fault, priority } = event;
    if (event.kind === "worsened" || !event.sameEpisode) {
      this.#ring(feeder, fault, priority, event.at);
      return;
    }
    const last = this.#lastRings.get(`${feeder} ${fault}`);
    if (last !== undefined) last.endedAt = null; // it goes on, without a sound
  }

  #ring(feeder: string, fault: FaultKind, priority: Priority, at: Instant): void {
    const key = `${feeder} ${fault}`;
    this.#end(this.#lastRings.get(key), at); // of a lower priority
    const ring = { feeder, fault, priority, at, endedAt: null };
    this.#rings.push(ring);
    this.#lastRings.set(key, ring);
  }

  #end(ring: Writable<Ring> | undefined, at: Instant): void {
    if (ring !== undefined) ring.endedAt ??= at;
  }

  #open(feeder: string, fault: string, from: Instant): void {
    const opened = { feeder, fault, from, to: null };
    this.#inForce.push(opened);
    this.#lastInForce.set(`${feeder} ${fault}`, opened);
  }
}

type Alarms = Readonly<Partial<Record<FaultKind, Alarm>>>;
type Writable<Fields> = { -readonly [Name in keyof Fields]: Fields[Name] };

const inForceStates: ReadonlySet<AlarmState> = new Set<AlarmState>(["unacknowledged", "acknowledged"]);
/** One that waits for a reset has ended too: whoever would reset it in the other replay can't be known. */
const endStates: ReadonlySet<AlarmState> = new Set<AlarmState>([
  "normal",
  "returnedUnacknowledged",
  "latchedUnacknowledged",
  "latchedAcknowledged",
]);
