import { texts } from "../../text/index.ts";
import type { Evidence, Fault } from "../faults.ts";
import { after, type Instant } from "../instant.ts";
import type { FeederSettings } from "../settings.ts";
import { currentStatement } from "./evidence.ts";
import type { Order, OrdersState, RevertedPause } from "./order.ts";
import { answerWithin, hasEnded, overdueAt } from "./orderTransitions.ts";
import { hasFedSince, isStatedPausedAgain } from "./pauseStatus.ts";

/** Faults of a requested pause that the feeder has not confirmed, or does not follow. */
export function pauseFaults(orders: OrdersState, settings: FeederSettings, now: Instant): readonly Fault[] {
  const { newest, revertedPause } = orders;
  if (newest === null || newest.kind !== "pause" || hasEnded(newest, now)) return [];
  const evidence = [requestEvidence(newest), statementEvidence(orders)];
  return [
    ...(revertedPause === undefined ? [] : revertedPauseFault(revertedPause, evidence)),
    ...overduePauseFault(orders, newest, settings, evidence, now),
  ];
}

function revertedPauseFault(reverted: RevertedPause, evidence: readonly Evidence[]): readonly Fault[] {
  const text = texts.orders.feedsThoughPaused;
  const confirmed = { label: text.confirmedLabel, value: text.confirmed, at: reverted.confirmedAt };
  if (reverted.lastPortion !== null) {
    const { portionCount, lastPortion, inOneStart } = reverted;
    const reason = [
      text.portions(portionCount),
      ...(lastPortion.cause === "keeper" ? [text.byHand] : []),
      ...(inOneStart ? [] : [text.restarted]),
      text.sentAgain,
    ].join(" ");
    const last = { label: text.lastLabel, value: text.last(lastPortion.cause), at: lastPortion.at };
    return [{ kind: "feedsThoughPaused", reason, evidence: [...evidence, confirmed, last], confidence: null }];
  }
  if (reverted.by !== "statement") return [];
  return [
    {
      kind: "pauseContradicted",
      reason: texts.orders.pauseContradicted,
      evidence: [...evidence, confirmed],
      confidence: null,
    },
  ];
}

function overduePauseFault(
  orders: OrdersState,
  newest: Order,
  settings: FeederSettings,
  evidence: readonly Evidence[],
  now: Instant,
): readonly Fault[] {
  const { revertedPause } = orders;
  const statement = currentStatement(orders);
  // Whatever happened to this order: a feeder that has stated since then that it is paused is paused.
  if (
    statement?.paused &&
    statement.at >= (revertedPause?.since ?? newest.requestedAt) &&
    !hasFedSince(orders, statement.at)
  )
    return [];
  if (newest.status === "refused") {
    return [{ kind: "pauseOverdue", reason: refusalText(newest), evidence, confidence: null }];
  }
  const due = overdueAt(orders, settings);
  if (due === null || now < due) return [];
  return [{ kind: "pauseOverdue", reason: overdueText(newest, revertedPause), evidence, confidence: null }];
}

function overdueText({ sentAt }: Order, reverted: RevertedPause | undefined): string {
  const text = texts.orders;
  if (reverted?.by === "restart") return sentAt === null ? text.pauseNotReachedAgain : text.pauseNotConfirmedAgain;
  return sentAt === null ? text.pauseNotReached : text.pauseNotConfirmed;
}

/** The fault of a feeder that is paused though it should feed. */
export function staysPausedFault(orders: OrdersState, settings: FeederSettings, now: Instant): Fault | null {
  const { newest } = orders;
  const reason = newest === null ? null : staysPausedText(orders, newest, settings, now);
  if (newest === null || reason === null) return null;
  return {
    kind: "staysPaused",
    reason,
    evidence: [requestEvidence(newest), statementEvidence(orders)],
    confidence: null,
  };
}

function staysPausedText(orders: OrdersState, newest: Order, settings: FeederSettings, now: Instant): string | null {
  if (newest.kind === "pause") return pastPauseText(orders, newest, settings, now);
  if (newest.status === "confirmed") {
    return isStatedPausedAgain(orders, newest) ? texts.orders.pausedAgain : null;
  }
  if (hasFedSince(orders, newest.requestedAt)) return null;
  if (newest.status === "refused") return refusalText(newest);
  const due = overdueAt(orders, settings);
  if (due === null || now < due) return null;
  return newest.sentAt === null ? texts.orders.resumeNotReached : texts.orders.resumeNotConfirmed;
}

function pastPauseText(orders: OrdersState, { until }: Order, settings: FeederSettings, now: Instant): string | null {
  if (until === null || now < after(until, answerWithin(settings))) return null;
  const statement = currentStatement(orders);
  if (!statement?.paused || statement.at < until || hasFedSince(orders, statement.at)) return null;
  return texts.orders.stillPaused;
}

const refusalText = ({ kind, problem }: Order): string =>
  problem === null ? texts.orders.refused[kind] : texts.orders.itReports(texts.orders.refused[kind], problem);

const requestEvidence = ({ requestedBy, requestedAt }: Order): Evidence => ({
  label: texts.orders.requestedLabel,
  value: texts.orders.requestedBy(requestedBy),
  at: requestedAt,
});

function statementEvidence({ lastStatement }: OrdersState): Evidence {
  const { statement, statementLabel } = texts.orders;
  if (lastStatement === null) return { label: statementLabel, value: statement.none, at: null };
  const value = lastStatement.paused ? statement.paused : statement.notPaused;
  return { label: statementLabel, value, at: lastStatement.at };
}
