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
  const confirmed = { label: "confirmation, no longer valid", value: "done", at: reverted.confirmedAt };
  if (reverted.lastPortion !== null) {
    const { portionCount, lastPortion, inOneStart } = reverted;
    const count = portionCount === 1 ? "a portion" : `${portionCount} portions`;
    const by = lastPortion.cause === "keeper" ? " The feeder reports that the last one was given by hand." : "";
    const restarted = inOneStart ? "" : " It restarted and may have lost the pause.";
    const reason = `The feeder confirmed the pause, but gave ${count} since then.${by}${restarted} The pause is sent again.`;
    const last = { label: "last portion", value: `cause: ${lastPortion.cause}`, at: lastPortion.at };
    return [{ kind: "feedsThoughPaused", reason, evidence: [...evidence, confirmed, last], confidence: null }];
  }
  if (reverted.by !== "statement") return [];
  const reason = "The feeder confirmed the pause, but reports since then that it is feeding. The pause is sent again.";
  return [{ kind: "pauseContradicted", reason, evidence: [...evidence, confirmed], confidence: null }];
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
    const reason = `The feeder refused to pause.${problemText(newest)}`;
    return [{ kind: "pauseOverdue", reason, evidence, confidence: null }];
  }
  const due = overdueAt(orders, settings);
  if (due === null || now < due) return [];
  return [{ kind: "pauseOverdue", reason: overdueText(newest, revertedPause), evidence, confidence: null }];
}

function overdueText({ sentAt }: Order, reverted: RevertedPause | undefined): string {
  if (reverted?.by === "restart") {
    return sentAt === null
      ? "The feeder restarted while it was paused, and the pause has not reached it again."
      : "The feeder restarted while it was paused. The pause was sent again, but the feeder has not confirmed that it is paused.";
  }
  return sentAt === null
    ? "A pause was requested, but the order has not reached the feeder."
    : "A pause was requested and sent, but the feeder has not confirmed that it is paused.";
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
    return isStatedPausedAgain(orders, newest)
      ? "The feeder confirmed that it is feeding again, but reports since then that it is paused. Somebody may have paused it at the feeder, so the order is not sent again."
      : null;
  }
  if (hasFedSince(orders, newest.requestedAt)) return null;
  if (newest.status === "refused") return `The feeder refused to resume.${problemText(newest)}`;
  const due = overdueAt(orders, settings);
  if (due === null || now < due) return null;
  return newest.sentAt === null
    ? "Resume was requested, but the order has not reached the feeder."
    : "Resume was requested and sent, but the feeder has not confirmed that it is feeding.";
}

function pastPauseText(orders: OrdersState, { until }: Order, settings: FeederSettings, now: Instant): string | null {
  if (until === null || now < after(until, answerWithin(settings))) return null;
  const statement = currentStatement(orders);
  if (!statement?.paused || statement.at < until || hasFedSince(orders, statement.at)) return null;
  return "The pause has ended, but the feeder still reports that it is paused.";
}

const problemText = ({ problem }: Order): string => (problem === null ? "" : ` It reports: ${problem}`);

const requestEvidence = ({ requestedBy, requestedAt }: Order): Evidence => ({
  label: "requested",
  value: `by ${requestedBy}`,
  at: requestedAt,
});

const statementEvidence = ({ lastStatement }: OrdersState): Evidence =>
  lastStatement === null
    ? { label: "feeder reports", value: "nothing about a pause", at: null }
    : { label: "feeder reports", value: lastStatement.paused ? "paused" : "not paused", at: lastStatement.at };
