import type {
  AlarmView,
  FeederView,
  FoodView,
  HopperView,
  OrderView,
  PauseView,
  ReadingsView,
  StandingView,
  YardView,
} from "../contract/api.ts";
import { meantReading } from "../contract/unknownNames.ts";
import type { Alarm } from "../domain/alarms/alarm.ts";
import { findingsNow, type ShownFinding } from "../domain/alarms/findingsNow.ts";
import { graveness } from "../domain/alarms/lifeCycle.ts";
import { asksOf } from "../domain/asks.ts";
import { isAssumed } from "../domain/assumed.ts";
import { blindSpots } from "../domain/blindSpots.ts";
import { missingEvents, numberingJumps } from "../domain/eventSequence.ts";
import { type FaultKind, faultKinds, ruleOf } from "../domain/faults.ts";
import type { FeederState, LatestReadings } from "../domain/feeder.ts";
import { feederWords } from "../domain/feederWords.ts";
import { foodKinds, foods } from "../domain/food.ts";
import { foodOutlook } from "../domain/foodOutlook.ts";
import { levelOf, portionOf } from "../domain/hopper/level.ts";
import { after, days, type Instant, isoOf } from "../domain/instant.ts";
import { momentWords } from "../domain/localTime.ts";
import type { Order, OrdersState } from "../domain/orders/order.ts";
import { type ShownPhase, type Standing, shownPhase, standingOf } from "../domain/orders/standing.ts";
import { portionWords } from "../domain/portionWords.ts";
import { allDamageWords, damageWords } from "../domain/storeDamage.ts";
import { wellUntil } from "../domain/wellKnown.ts";
import { isUsableZone, usedZone } from "../domain/zone.ts";
import type { DamagedFeeder, FeederRow, Ports, YardRow } from "../ports.ts";
import { saidOf } from "./pure/saidSettings.ts";

/** What is known, as the keeper's client is shown it. Nothing is judged here: the domain has done that. */

export const yardView = (
  yard: YardRow,
  of: Pick<YardView, "role" | "people" | "calls">,
  feeders: readonly FeederRow[],
  damaged: readonly DamagedFeeder[],
  now: Instant,
): YardView => ({
  ...yard,
  zone: usedZone(yard.zone),
  unusableZone: isUsableZone(yard.zone) ? null : yard.zone,
  ...of,
  feeders: feeders.filter((feeder) => feeder.yard === yard.id).map((feeder) => feederView(feeder, now)),
  damaged: damaged
    .filter((feeder) => feeder.yard === yard.id)
    .map(({ id, name, problem }) => ({ id, name, words: damagedWords(name, problem) })),
});

const damagedWords = (name: string, problem: string): string =>
  `What is stored of ${name} is damaged (${problem}), so nothing of it can be shown. It is being rebuilt from its record. Until then ` +
  "its reports are not taken, and it keeps its events.";

/** Told for so long. Common practice, no source. */
const rebuiltToldFor = days(7);

function rebuiltWords({ rebuiltAt, state }: FeederRow, now: Instant): string {
  if (rebuiltAt === null || now >= after(rebuiltAt, rebuiltToldFor)) return "";
  const when = momentWords(rebuiltAt, state.settings.zone, now);
  return ` What was stored of it was damaged, and was rebuilt from its record (${when}).`;
}

/** @param keepsYard whether the person may know the server's folders and commands */
export function storageWords({ store }: Pick<Ports, "store">, keepsYard: boolean): string | null {
  const damage = store.condition.damage();
  if (damage === null) return null;
  return keepsYard ? allDamageWords(damage, store.condition.advice()) : damageWords(damage);
}

export const foodViews: readonly FoodView[] = foodKinds.map((kind) => ({
  kind,
  words: foods[kind].words,
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
    settings: saidOf(state.settings),
    lastHeardAt: maybeIso(row.lastHeardAt),
    missingEvents: missingEvents(state.sequence),
    numberingJumps: numberingJumps(state.sequence),
    unknownReadings: (state.latest?.unknown ?? []).map((name) => ({ name, meant: meantReading(name) })),
    readings: state.latest && readingsView(state.latest),
    hopper: hopperView(state, now),
    alarms: alarmViews(state, now),
    pause: pauseView(state.orders, now),
    cleanedAt: maybeIso(state.cleanedAt ?? null),
    blindSpots: blindSpots(state.settings, state.latest?.readings ?? null),
    asks: asksOf(state).map(({ words, said }) => ({
      words,
      opens: `/feeders/${encodeURIComponent(row.id)}/${said === "asRefill" ? "refill" : "settings"}`,
    })),
    words: `${feederWords(state, now)}${rebuiltWords(row, now)}`,
    wellUntil: maybeIso(wellUntil(state, now)),
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
  const { forecast, words } = foodOutlook(state, now);
  const portion = portionOf(hopper).mean;
  return {
    capacityGrams: settings.hopperCapacity,
    capacityAssumed: isAssumed(settings, "hopperCapacity"),
    level: levelOf(hopper, settings),
    portionGrams: portion,
    portionWords: portionWords(portion, settings),
    empty:
      forecast.kind === "emptyAt"
        ? { p10: isoOf(forecast.p10), p50: isoOf(forecast.p50), p90: isoOf(forecast.p90) }
        : null,
    words,
  };
}

function alarmViews(state: FeederState, now: Instant): AlarmView[] {
  const { alarms } = state;
  const findings = findingsNow(state, now);
  const views = faultKinds.flatMap((fault) => {
    const alarm = alarms[fault];
    if (alarm === undefined || alarm.phase === "suspected") return [];
    return [alarmView(fault, alarm, findings(fault, alarm), explainedBy(fault, alarms))];
  });
  return views.sort((one, other) => graveness[one.priority] - graveness[other.priority]);
}

const explainedBy = (fault: FaultKind, alarms: FeederState["alarms"]): string[] =>
  faultKinds.flatMap((kind) => {
    const alarm = alarms[kind];
    return alarm?.phase === "suppressedByDesign" && alarm.explainedBy === fault ? [ruleOf(kind).title] : [];
  });

function alarmView(
  fault: FaultKind,
  alarm: Exclude<Alarm, { phase: "suspected" }>,
  finding: ShownFinding,
  explains: readonly string[],
): AlarmView {
  const rule = ruleOf(fault);
  const speaker = alarm.phase === "suppressedByDesign" ? alarm.explainedBy : null;
  return {
    fault,
    title: rule.title,
    priority: alarm.priority,
    phase: alarm.phase,
    reason: alarm.phase === "suppressedByDesign" ? `${finding.reason} ${alarm.why}` : finding.reason,
    act: rule.act,
    since: isoOf(alarm.since),
    shelvedUntil: alarm.phase === "shelved" ? isoOf(alarm.shelvedUntil) : null,
    raisedAt: "raisedAt" in alarm ? isoOf(alarm.raisedAt) : null,
    explains,
    explainedBy: speaker && ruleOf(speaker).title,
    outOfService:
      alarm.phase === "outOfService" ? { by: alarm.outBy, since: isoOf(alarm.outSince), why: alarm.outWhy } : null,
    evidence: finding.evidence.map(({ what, value, at }) => ({ what, value, at: maybeIso(at) })),
  };
}

function pauseView(orders: OrdersState, now: Instant): PauseView {
  const { newest, feederSays, gave, undone } = orders;
  return {
    feederSays: feederSays && { paused: feederSays.paused, at: isoOf(feederSays.at) },
    feederGave: gave === undefined ? null : { at: isoOf(gave.at), cause: gave.cause },
    standing: standingView(standingOf(orders, now)),
    order: newest && orderView(newest, shownPhase(orders, newest, now)),
    undone:
      undone === undefined
        ? null
        : {
            by: undone.by,
            since: isoOf(undone.since),
            confirmedAt: isoOf(undone.confirmedAt),
            portions: undone.portions,
          },
  };
}

function standingView(standing: Standing): StandingView {
  switch (standing.kind) {
    case "paused":
    case "feeding":
      return { kind: standing.kind, at: isoOf(standing.at) };
    case "endedUnheard":
      return { kind: "endedUnheard", at: isoOf(standing.until) };
    case "unknown":
      return { kind: "unknown", at: maybeIso(standing.startedAt) };
  }
}

const orderView = (order: Order, phase: ShownPhase): OrderView => ({
  ...order,
  phase,
  until: maybeIso(order.until),
  askedAt: isoOf(order.askedAt),
  sentAt: maybeIso(order.sentAt),
  answeredAt: maybeIso(order.answeredAt),
});
