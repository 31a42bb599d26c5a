import type { Alarm } from "../../../server/domain/alarms/alarm.ts";
import { advanceAlarm } from "../../../server/domain/alarms/alarmTransitions.ts";
import { type ColdState, coldFaults, initialCold, updateCold } from "../../../server/domain/cold/cold.ts";
import { type Fault, type FaultKind, ruleFor } from "../../../server/domain/faults.ts";
import { after, type Instant, minutes } from "../../../server/domain/instant.ts";
import type { Readings } from "../../../server/domain/report.ts";
import type { FeederSettings } from "../../../server/domain/settings.ts";
import { celsius, humidityPercent } from "../../../server/domain/units.ts";
import { emptyReadings } from "../silence/larch.ts";

export interface Climate {
  readonly air?: number;
  readonly inside?: number;
  readonly lid?: number;
  readonly humidity?: number;
}

const readingsOf = ({ air, inside, lid, humidity }: Climate): Readings => ({
  ...emptyReadings,
  air: air === undefined ? null : celsius(air),
  inside: inside === undefined ? null : celsius(inside),
  lid: lid === undefined ? null : celsius(lid),
  humidity: humidity === undefined ? null : humidityPercent(humidity),
});

/** One feeder's cold, a report each ten minutes, with the alarms of some kinds of fault beside it. */
export class ColdRun {
  cold: ColdState = initialCold();
  faults: readonly Fault[] = [];
  rang: { readonly at: Instant; readonly kind: FaultKind; readonly reason: string }[] = [];
  now: Instant;
  readonly settings: FeederSettings;
  readonly kinds: readonly FaultKind[];
  readonly #alarms = new Map<FaultKind, Alarm | null>();

  constructor(settings: FeederSettings, kinds: readonly FaultKind[], from: Instant) {
    this.settings = settings;
    this.kinds = kinds;
    this.now = from;
  }

  report(climate: Climate): this {
    this.now = after(this.now, minutes(10));
    return this.reportAt(this.now, climate);
  }

  reportAt(at: Instant, climate: Climate): this {
    this.now = at;
    this.cold = updateCold(this.cold, readingsOf(climate), at, this.settings);
    return this.judge();
  }

  judge(): this {
    this.faults = coldFaults(this.cold, this.settings, this.now);
    for (const kind of this.kinds) {
      const fault = this.faults.find((found) => found.kind === kind) ?? null;
      const rule = ruleFor(kind, this.settings);
      const context = { kind, rule, now: this.now, suppressed: null, priority: rule.priority };
      const step = advanceAlarm(this.#alarms.get(kind) ?? null, fault, context);
      this.#alarms.set(kind, step.alarm);
      for (const change of step.changes) {
        if (change.to === "unacknowledged" && change.from !== change.to)
          this.rang.push({ at: this.now, kind, reason: fault?.reason ?? "" });
      }
    }
    return this;
  }

  times(count: number, climate: Climate): this {
    for (let n = 0; n < count; n++) this.report(climate);
    return this;
  }

  fault(): Fault | null {
    return this.faults.find(({ kind }) => this.kinds.includes(kind)) ?? null;
  }
}
