import type { Alarm } from "../domain/alarms/alarm.ts";
import { isRaise } from "../domain/alarms/alarmEvents.ts";
import type { AlarmChange } from "../domain/alarms/alarmStates.ts";
import type { FaultKind } from "../domain/faults.ts";
import { between, type Instant, inDays, isoOf } from "../domain/instant.ts";

/** The result of a replay: how often each alarm was raised, and how soon after a true fault began. Numbers only, no list. */
export class DetectionCounts {
  readonly #alarms = new Map<FaultKind, number>();
  readonly #detections = new Map<FaultKind, Detection>();
  readonly #open = new Map<string, { readonly fault: FaultKind; readonly begunAt: Instant; detected: boolean }>();
  readonly #reports = { reports: 0, events: 0, duplicates: 0, refused: 0 };
  #feeders = 0;
  #feederDays = 0;
  #from: Instant | null = null;
  #to: Instant | null = null;

  /** Events and readings that the server rejects too; the rest of their report counts. */
  get refused(): number {
    return this.#reports.refused;
  }

  advanceTo(at: Instant): void {
    this.#feederDays += this.#feeders * (this.#to === null ? 0 : inDays(between(this.#to, at)));
    this.#from ??= at;
    this.#to = at;
  }

  addFeeder(): void {
    this.#feeders += 1;
  }

  countReport({ events, duplicates, refused }: { events: number; duplicates: number; refused: number }): void {
    this.#reports.reports += 1;
    this.#reports.events += events;
    this.#reports.duplicates += duplicates;
    this.#reports.refused += refused;
  }

  countChange(feeder: string, change: AlarmChange, before: Alarm | undefined): void {
    if (!isRaise(change, before ?? null)) return;
    const { fault, at } = change;
    this.#alarms.set(fault, (this.#alarms.get(fault) ?? 0) + 1);
    const open = this.#open.get(`${feeder} ${fault}`);
    if (open === undefined) this.#of(fault).falseAlarms += 1;
    else if (!open.detected) this.#recordDetection(open, at);
  }

  /** @param standing the present alarm of this fault. */
  countTruth(
    feeder: string,
    { fault, phase, at }: { readonly fault: FaultKind; readonly phase: "begin" | "end"; readonly at: Instant },
    standing: Alarm | undefined,
  ): void {
    const key = `${feeder} ${fault}`;
    const open = this.#open.get(key);
    if (phase === "end") {
      if (open && !open.detected) this.#of(fault).missed += 1;
      this.#open.delete(key);
      return;
    }
    if (open) return; // it began already
    const begun = { fault, begunAt: at, detected: false };
    this.#open.set(key, begun);
    this.#of(fault).begun += 1;
    if (standing?.state === "unacknowledged" || standing?.state === "acknowledged") this.#recordDetection(begun, at);
  }

  summary(): object {
    const feederWeeks = this.#feederDays / 7;
    const alarms = [...this.#alarms].map(([fault, raised]) => {
      const perFeederWeek = feederWeeks > 0 ? Number((raised / feederWeeks).toPrecision(3)) : null;
      return [fault, { raised, perFeederWeek }] as const;
    });
    return {
      from: this.#from === null ? null : isoOf(this.#from),
      to: this.#to === null ? null : isoOf(this.#to),
      feeders: this.#feeders,
      feederWeeks: Number(feederWeeks.toPrecision(4)),
      ...this.#reports,
      alarms: Object.fromEntries(alarms),
      ...this.#detectionSummary(),
    };
  }

  /** Left out where the log carries no truth: without it nothing can be called detected, missed or a false alarm. */
  #detectionSummary(): object {
    const detections = [...this.#detections];
    if (detections.every(([, { begun }]) => begun === 0)) return {};
    const shown = detections.map(([fault, { begun, detected, missed, falseAlarms, least, sum, most }]) => {
      const secondsToDetect = detected === 0 ? null : { least, mean: Math.round(sum / detected), most };
      return [
        fault,
        { begun, detected, missed, open: begun - detected - missed, falseAlarms, secondsToDetect },
      ] as const;
    });
    return { detection: Object.fromEntries(shown) };
  }

  #recordDetection(
    open: { readonly fault: FaultKind; readonly begunAt: Instant; detected: boolean },
    at: Instant,
  ): void {
    open.detected = true;
    const took = between(open.begunAt, at) / 1_000;
    const of = this.#of(open.fault);
    of.least = of.detected === 0 ? took : Math.min(of.least, took);
    of.most = Math.max(of.most, took);
    of.sum += took;
    of.detected += 1;
  }

  #of(fault: FaultKind): Detection {
    const known = this.#detections.get(fault);
    if (known) return known;
    const initial = { begun: 0, detected: 0, missed: 0, falseAlarms: 0, least: 0, sum: 0, most: 0 };
    this.#detections.set(fault, initial);
    return initial;
  }
}

/** Seconds from the true beginning to the alarm. */
interface Detection {
  begun: number;
  detected: number;
  missed: number; // over before its alarm was raised
  falseAlarms: number; // raised while no such fault was open
  least: number;
  sum: number;
  most: number;
}
