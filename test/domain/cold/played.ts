import type { Alarm } from "../../../server/domain/alarms/alarm.ts";
import { advanceAlarm } from "../../../server/domain/alarms/lifeCycle.ts";
import { type ColdState, coldFaults, felt, noCold } from "../../../server/domain/cold/cold.ts";
import type { Readings } from "../../../server/domain/facts.ts";
import { type Fault, type FaultKind, ruleFor } from "../../../server/domain/faults.ts";
import type { FeederSettings } from "../../../server/domain/feeder.ts";
import { after, type Instant, minutes } from "../../../server/domain/instant.ts";
import { celsius, humidityPercent } from "../../../server/domain/units.ts";
import { saidNothing } from "../silence/larch.ts";

export interface Climate {
  readonly air?: number;
  readonly inside?: number;
  readonly lid?: number;
  readonly humidity?: number;
}

const readingsOf = ({ air, inside, lid, humidity }: Climate): Readings => ({
  ...saidNothing,
  air: air === undefined ? null : celsius(air),
  inside: inside === undefined ? null : celsius(inside),
  lid: lid === undefined ? null : celsius(lid),
  humidity: humidity === undefined ? null : humidityPercent(humidity),
});

/** One feeder's cold, a report each ten minutes, with the alarm of one kind of fault beside it. */
export class Played {
  cold: ColdState = noCold();
  faults: readonly Fault[] = [];
  rang: { readonly at: Instant; readonly reason: string }[] = [];
  now: Instant;
  readonly settings: FeederSettings;
  readonly kind: FaultKind;
  #alarm: Alarm | null = null;

  constructor(settings: FeederSettings, kind: FaultKind, from: Instant) {
    this.settings = settings;
    this.kind = kind;
    this.now = from;
  }

  report(climate: Climate): this {
    this.now = after(this.now, minutes(10));
    return this.reportAt(this.now, climate);
  }

  reportAt(at: Instant, climate: Climate): this {
    this.now = at;
    this.cold = felt(this.cold, readingsOf(climate), at, this.settings);
    return this.judge();
  }

  judge(): this {
    this.faults = coldFaults(this.cold, this.settings, this.now);
    const fault = this.fault();
    const rule = ruleFor(this.kind, this.settings);
    const step = advanceAlarm(this.#alarm, fault, { kind: this.kind, rule, now: this.now, suppressed: null });
    this.#alarm = step.alarm;
    for (const change of step.changes) {
      if (change.to === "unacknowledged") this.rang.push({ at: this.now, reason: fault?.reason ?? "" });
    }
    return this;
  }

  times(count: number, climate: Climate): this {
    for (let n = 0; n < count; n++) this.report(climate);
    return this;
  }

  fault(): Fault | null {
    return this.faults.find(({ kind }) => kind === this.kind) ?? null;
  }
}
