import type { BirdDay, DayCounts, DigestFeeder } from "../../../server/domain/digest/digestFeeder.ts";
import { type FaultKind, ruleOf } from "../../../server/domain/faults.ts";
import { type FeederState, newFeeder } from "../../../server/domain/feeder.ts";
import { updateHopperByPortion } from "../../../server/domain/hopper/level.ts";
import { updateHopperByRefill } from "../../../server/domain/hopper/refill.ts";
import { days, hours, type Instant, instantOf, minutes, after as past } from "../../../server/domain/instant.ts";
import type { Readings } from "../../../server/domain/report.ts";
import type { FeederSettings } from "../../../server/domain/settings.ts";
import { updateReporting as heardFrom, initialReporting } from "../../../server/domain/silence/feederSilence.ts";
import { celsius, grams, humidityPercent } from "../../../server/domain/units.ts";
import { feederSettings } from "../../support/feederSettings.ts";
import { barePortion } from "../portionFixture.ts";
import { emptyReadings } from "../silence/larch.ts";

/** Feeders of Alder Croft as a digest gets them, hand-made: 07:30 in Stockholm on Wednesday 25 November. */
export const now = instantOf("2026-11-25T06:30:00Z");
export const date = "2026-11-25";
export const yard = { id: "alder-croft", name: "Alder Croft", zone: "Europe/Stockholm", practice: false };

/** A feeder that was filled with so much ten days ago and gave so many portions of 5 g a day since. */
export function feederWithPortions(
  name: string,
  filled = 1_500,
  portionsADay = 10,
  different: Partial<FeederSettings> = {},
): FeederState {
  const settings = feederSettings({ name, ...different });
  const start = past(now, days(-10));
  let hopper = newFeeder(settings, start).hopper;
  hopper = updateHopperByRefill(hopper, { at: start, what: { kind: "level", grams: grams(filled) } }, settings);
  for (let day = 0; day < 10; day++) {
    for (let n = 0; n < portionsADay; n++) {
      const recordedAt = past(start, (days(day) + hours(1) + n * minutes(5)) as never);
      hopper = updateHopperByPortion(hopper, { ...barePortion, recordedAt } as const, settings);
    }
  }
  return reportingState({ ...newFeeder(settings, start), hopper });
}

export const reportingState = (state: FeederState): FeederState => ({
  ...state,
  reporting: heardFrom(
    initialReporting(now),
    { boot: "b", sentUptime: null, reportEvery: state.settings.reportEvery },
    now,
  ),
});

export const withAlarm = (
  state: FeederState,
  fault: FaultKind,
  since: Instant,
  alarmState = "unacknowledged",
  more: object = {},
): FeederState => ({
  ...state,
  alarms: {
    ...state.alarms,
    [fault]: {
      state: alarmState,
      priority: ruleOf(fault).priority,
      since,
      finding: { reason: "", evidence: [], confidence: null },
      raisedAt: since,
      absentSince: null,
      ...more,
    } as never,
  },
});

export const quiet: DayCounts = { visits: 0, presses: 0, deposits: 0, portions: 0 };
export const busy: DayCounts = { visits: 41, presses: 12, deposits: 9, portions: 60 };
export const day = (counts: DayCounts = busy, whole = true): BirdDay => ({ counts, isComplete: whole });

/** A week like any other: as many each day, give or take. */
export const usualDays = (counts: DayCounts = busy): readonly BirdDay[] =>
  [0, 1, -1, 2, 0, -2, 1, 0].map((off) =>
    day({
      visits: counts.visits + (counts.visits > 0 ? off : 0),
      presses: counts.presses + (counts.presses > 4 ? off : 0),
      deposits: counts.deposits,
      portions: counts.portions + (counts.portions > 0 ? off : 0),
    }),
  );

/** Hour by hour over the last day: what each hour was like, by how many hours ago it was. */
export const readingsOf = (hour: (ago: number) => Partial<Readings>) =>
  Array.from({ length: 25 }, (_, n) => ({
    at: past(now, hours(n - 24)),
    readings: { ...emptyReadings, ...hour(24 - n) },
  }));

/** A day that is warmest early in the afternoon and coldest before dawn. */
export const airBetween = (lowest: number, warmest: number, humidity = 90) =>
  readingsOf((ago) => {
    const share = 0.5 - 0.5 * Math.cos((2 * Math.PI * (24 - ago)) / 24);
    return { air: celsius(lowest + (warmest - lowest) * share), humidity: humidityPercent(humidity) };
  });

export function digestFeederFixture(state: FeederState, change: Partial<DigestFeeder> = {}): DigestFeeder {
  return {
    id: state.settings.name.toLowerCase(),
    name: state.settings.name,
    state,
    addedAt: past(now, days(-10)),
    days: usualDays(),
    paymentEvents: [],
    recentReadings: [],
    ...change,
  };
}
