import type {
  AlarmView,
  FeederView,
  FoodView,
  HopperView,
  OrderView,
  PauseStatusView,
  PauseView,
  ReadingsView,
  YardView,
} from "../contract/api.ts";
import { suggestedReading } from "../contract/unknownNames.ts";
import type { Alarm } from "../domain/alarms/alarm.ts";
import { priorityRank } from "../domain/alarms/alarmTransitions.ts";
import { type CurrentFinding, currentFindings } from "../domain/alarms/currentFindings.ts";
import { allClearUntil } from "../domain/allClear.ts";
import { isAssumed } from "../domain/assumedSettings.ts";
import { blindSpots } from "../domain/blindSpots.ts";
import { missingEventCount, numberingJumpCount } from "../domain/eventSequence.ts";
import { type FaultKind, faultKinds, ruleOf } from "../domain/faults.ts";
import type { FeederState, LatestReadings } from "../domain/feeder.ts";
import { feederSummary } from "../domain/feederSummary.ts";
import { foodKinds, foods } from "../domain/food.ts";
import { foodOutlook } from "../domain/foodOutlook.ts";
import { currentPortion, hopperLevel } from "../domain/hopper/level.ts";
import { after, days, type Instant, isoOf } from "../domain/instant.ts";
import { momentText } from "../domain/localTime.ts";
import { openQuestions, questionPage } from "../domain/openQuestions.ts";
import type { Order, OrdersState } from "../domain/orders/order.ts";
import { type DisplayedStatus, displayedStatus, type PauseStatus, pauseStatus } from "../domain/orders/pauseStatus.ts";
import { portionText } from "../domain/portionText.ts";
import { damageText, damageWithAdviceText } from "../domain/storeDamage.ts";
import { isUsableZone, zoneOrFallback } from "../domain/zone.ts";
import type { DamagedFeeder, FeederRow, Ports, YardRow } from "../ports.ts";
import { texts } from "../text/index.ts";
import { settingsRequestOf } from "./pure/requestedSettings.ts";

/** The state as the keeper's client shows it. Nothing is decided here: the domain has done that. */

export const yardView = (
  yard: YardRow,
  of: Pick<YardView, "role" | "peopleCount" | "escalations">,
  feeders: readonly FeederRow[],
  damaged: readonly DamagedFeeder[],
  now: Instant,
): YardView => ({
  ...yard,
  zone: zoneOrFallback(yard.zone),
  unusableZone: isUsableZone(yard.zone) ? null : yard.zone,
  diseaseNotice: yard.diseaseNotice === null ? null : { at: isoOf(yard.diseaseNotice.at), by: yard.diseaseNotice.by },
  ...of,
  feeders: feeders.filter((feeder) => feeder.yard === yard.id).map((feeder) => feederView(feeder, now)),
  damagedFeeders: damaged
    .filter((feeder) => feeder.yard === yard.id)
    .map(({ id, name, problem }) => ({ id, name, text: damagedText(name, problem) })),
});

const damagedText = (name: string, problem: string): string => texts.damagedFeeder.state(name, problem);

/** How long it is shown. Common practice, no source. */
const rebuiltShownFor = days(7);

function rebuiltText({ rebuiltAt, state }: FeederRow, now: Instant): string {
  if (rebuiltAt === null || now >= after(rebuiltAt, rebuiltShownFor)) return "";
  const when = momentText(rebuiltAt, state.settings.zone, now);
  return ` ${texts.damagedFeeder.rebuilt(when)}`;
}

/** @param isKeeper whether the person may know the server's folders and commands */
export function storageText({ store }: Pick<Ports, "store">, isKeeper: boolean): string | null {
  const damage = store.condition.damage();
  if (damage === null) return null;
  return isKeeper ? damageWithAdviceText(damage, store.condition.restoreAdvice()) : damageText(damage);
}

export const foodViews: readonly FoodView[] = foodKinds.map((kind) => ({
  kind,
  name: foods[kind].name,
  pieceGrams: foods[kind].pieceMass,
}));

export function feederView(row: FeederRow, now: Instant): FeederView {
  const { state } = row;
  return {
    id: row.id,
    yard: row.yard,
    revision: row.revision,
    name: state.settings.name,
    practice: row.practice,
    settings: settingsRequestOf(state.settings),
    lastReportAt: maybeIso(row.lastReportAt),
    missingEvents: missingEventCount(state.eventSequence),
    numberingJumps: numberingJumpCount(state.eventSequence),
    unknownReadings: (state.latestReadings?.unknownNames ?? []).map((name) => ({
      name,
      suggestion: suggestedReading(name),
    })),
    readings: state.latestReadings && readingsView(state.latestReadings),
    hopper: hopperView(state, now),
    alarms: alarmViews(state, now),
    pause: pauseView(state.orders, now),
    cleanedAt: maybeIso(state.cleanedAt ?? null),
    blindSpots: blindSpots(state.settings, state.latestReadings?.readings ?? null),
    questions: openQuestions(state).map((question) => ({ text: question.text, link: questionPage(row.id, question) })),
    summary: `${feederSummary(state, now)}${rebuiltText(row, now)}`,
    summaryValidUntil: maybeIso(allClearUntil(state, now)),
  };
}

export const maybeIso = (at: Instant | null): string | null => (at === null ? null : isoOf(at));

function readingsView({ at, readings }: LatestReadings): ReadingsView {
  return {
    at: isoOf(at),
    hopperGrams: readings.hopper,
    airCelsius: readings.air,
    insideCelsius: readings.inside,
    lidCelsius: readings.lid,
    humidityPercent: readings.humidity,
    supplyVolts: readings.supply,
    batteryVolts: readings.battery,
    batteryCelsius: readings.batteryTemperature,
    chargeMilliamps: readings.charge,
    signalDbm: readings.signalDbm,
    spooled: readings.spooled,
    paused: readings.paused,
  };
}

function hopperView(state: FeederState, now: Instant): HopperView {
  const { hopper, settings } = state;
  const { forecast, text } = foodOutlook(state, now);
  const portion = currentPortion(hopper, settings);
  return {
    capacityGrams: settings.hopperCapacity,
    capacityAssumed: isAssumed(settings, "hopperCapacity"),
    level: hopperLevel(hopper, settings),
    portionGrams: portion,
    portionText: portionText(portion, settings),
    emptyForecast:
      forecast.kind === "emptyAt"
        ? { p10: isoOf(forecast.p10), p50: isoOf(forecast.p50), p90: isoOf(forecast.p90) }
        : null,
    text,
  };
}

function alarmViews(state: FeederState, now: Instant): AlarmView[] {
  const { alarms } = state;
  const findings = currentFindings(state, now);
  const views = faultKinds.flatMap((fault) => {
    const alarm = alarms[fault];
    if (alarm === undefined || alarm.state === "suspected") return [];
    return [alarmView(fault, alarm, findings(fault, alarm), explainedBy(fault, alarms))];
  });
  return views.sort((one, other) => priorityRank[one.priority] - priorityRank[other.priority]);
}

const explainedBy = (fault: FaultKind, alarms: FeederState["alarms"]): string[] =>
  faultKinds.flatMap((kind) => {
    const alarm = alarms[kind];
    return alarm?.state === "suppressedByDesign" && alarm.explainedBy === fault ? [ruleOf(kind).title] : [];
  });

function alarmView(
  fault: FaultKind,
  alarm: Exclude<Alarm, { state: "suspected" }>,
  finding: CurrentFinding,
  explains: readonly string[],
): AlarmView {
  const rule = ruleOf(fault);
  const speaker = alarm.state === "suppressedByDesign" ? alarm.explainedBy : null;
  return {
    fault,
    title: rule.title,
    priority: alarm.priority,
    state: alarm.state,
    reason: alarm.state === "suppressedByDesign" ? `${finding.reason} ${alarm.reason}` : finding.reason,
    advice: rule.advice,
    act: rule.act ?? null,
    since: isoOf(alarm.since),
    shelvedUntil: alarm.state === "shelved" ? isoOf(alarm.shelvedUntil) : null,
    raisedAt: "raisedAt" in alarm ? isoOf(alarm.raisedAt) : null,
    explains,
    explainedBy: speaker && ruleOf(speaker).title,
    outOfService:
      alarm.state === "outOfService"
        ? { by: alarm.outBy, since: isoOf(alarm.outSince), reason: alarm.outReason }
        : null,
    evidence: finding.evidence.map(({ label, value, at }) => ({ label, value, at: maybeIso(at) })),
  };
}

function pauseView(orders: OrdersState, now: Instant): PauseView {
  const { newest, lastStatement, lastFood, revertedPause } = orders;
  return {
    statement: lastStatement && { paused: lastStatement.paused, at: isoOf(lastStatement.at) },
    lastPortion: lastFood === undefined ? null : { at: isoOf(lastFood.at), cause: lastFood.cause },
    status: pauseStatusView(pauseStatus(orders, now)),
    order: newest && orderView(newest, displayedStatus(orders, newest, now)),
    lost:
      revertedPause === undefined
        ? null
        : {
            by: revertedPause.by,
            since: isoOf(revertedPause.since),
            confirmedAt: isoOf(revertedPause.confirmedAt),
            portions: revertedPause.portionCount,
          },
  };
}

function pauseStatusView(status: PauseStatus): PauseStatusView {
  switch (status.kind) {
    case "paused":
    case "feeding":
      return { kind: status.kind, at: isoOf(status.at) };
    case "endedUnconfirmed":
      return { kind: "endedUnconfirmed", at: isoOf(status.until) };
    case "unknown":
      return { kind: "unknown", at: maybeIso(status.startedAt) };
  }
}

const orderView = (order: Order, state: DisplayedStatus): OrderView => ({
  ...order,
  status: state,
  until: maybeIso(order.until),
  requestedAt: isoOf(order.requestedAt),
  sentAt: maybeIso(order.sentAt),
  answeredAt: maybeIso(order.answeredAt),
});
