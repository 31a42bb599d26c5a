import type { Evidence, Fault } from "../faults.ts";
import { after, type Instant } from "../instant.ts";
import type { FeederSettings } from "../settings.ts";
import { currentStatement } from "./evidence.ts";
import type { Order, OrdersState, UndonePause } from "./order.ts";
import { answerWithin, hasEnded, overdueAt } from "./orderTransitions.ts";
import { hasFedSince, isStatedPausedAgain } from "./pauseStatus.ts";

/** A stop that was asked for and of which the feeder hasn't said that it happened, or which it doesn't keep. */
export function pauseFaults(orders: OrdersState, settings: FeederSettings, now: Instant): readonly Fault[] {
  const { newest, undonePause } = orders;
  if (newest === null || newest.kind !== "pause" || hasEnded(newest, now)) return [];
  const evidence = [requestEvidence(newest), statementEvidence(orders)];
  return [
    ...(undonePause === undefined ? [] : undonePauseFault(undonePause, evidence)),
    ...overduePauseFault(orders, newest, settings, evidence, now),
  ];
}

function undonePauseFault(undone: UndonePause, evidence: readonly Evidence[]): readonly Fault[] {
  const confirmed = { label: "said that it had paused", value: "done", at: undone.confirmedAt };
  if (undone.lastPortion !== null) {
    const { portionCount, lastPortion, inOneStart } = undone;
    const count = portionCount === 1 ? "a portion" : `${portionCount} portions`;
    const by = lastPortion.cause === "keeper" ? " The last was given by hand at the feeder, as it says." : "";
    const anew = inOneStart ? "" : " It has started anew since and may have forgotten the pause.";
    const reason = `The feeder said that it had paused, and has given ${count} since.${by}${anew} The pause is being sent again.`;
    const last = { label: "last portion", value: `cause: ${lastPortion.cause}`, at: lastPortion.at };
    return [{ kind: "feedsThoughPaused", reason, evidence: [...evidence, confirmed, last], confidence: null }];
  }
  if (undone.by !== "statement") return [];
  const reason =
    "The feeder said that it had paused, and says since then that it is feeding. The pause is being sent again.";
  return [{ kind: "pauseContradicted", reason, evidence: [...evidence, confirmed], confidence: null }];
}

function overduePauseFault(
  orders: OrdersState,
  newest: Order,
  settings: FeederSettings,
  evidence: readonly Evidence[],
  now: Instant,
): readonly Fault[] {
  const { undonePause } = orders;
  const word = currentStatement(orders);
  // Whatever became of this very order: a feeder that says it stands still, and said so since, does.
  if (word?.paused && word.at >= (undonePause?.since ?? newest.requestedAt) && !hasFedSince(orders, word.at)) return [];
  if (newest.status === "refused") {
    const why = newest.problem === null ? "" : ` It says: ${newest.problem}`;
    return [{ kind: "pauseOverdue", reason: `The feeder refused to pause.${why}`, evidence, confidence: null }];
  }
  const due = overdueAt(orders, settings);
  if (due === null || now < due) return [];
  return [{ kind: "pauseOverdue", reason: overdueText(newest, undonePause), evidence, confidence: null }];
}

function overdueText({ sentAt }: Order, undone: UndonePause | undefined): string {
  if (undone?.by === "restart") {
    return sentAt === null
      ? "The feeder started anew after it had paused, and the pause has not reached it again."
      : "The feeder started anew after it had paused. The pause was sent again, but the feeder has not said that it stands still.";
  }
  return sentAt === null
    ? "The feeder was to pause, but the order has not reached it."
    : "The feeder was to pause and the order was sent, but it has not said that it stopped.";
}

/** A feeder that stands still though it should feed: the birds wait, and nobody means it. */
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
  const word = currentStatement(orders);
  if (newest.kind === "pause") {
    if (newest.until === null || now < after(newest.until, answerWithin(settings))) return null;
    if (!word?.paused || word.at < newest.until || hasFedSince(orders, word.at)) return null;
    return "The pause was to end by itself, and the feeder still says that it is paused.";
  }
  if (newest.status === "confirmed") {
    if (!isStatedPausedAgain(orders, newest)) return null;
    return "The feeder confirmed that it feeds again, and says since then that it is paused. Somebody may have paused it by hand: so the order is not sent again.";
  }
  if (hasFedSince(orders, newest.requestedAt)) return null;
  if (newest.status === "refused") {
    return `The feeder refused to resume.${newest.problem === null ? "" : ` It says: ${newest.problem}`}`;
  }
  const due = overdueAt(orders, settings);
  if (due === null || now < due) return null;
  return newest.sentAt === null
    ? "The feeder was to feed again, but the order has not reached it."
    : "The feeder was to feed again and the order was sent, but it has not said that it does.";
}

const requestEvidence = ({ requestedBy, requestedAt }: Order): Evidence => ({
  label: "asked",
  value: `by ${requestedBy}`,
  at: requestedAt,
});

const statementEvidence = ({ feederSays }: OrdersState): Evidence =>
  feederSays === null
    ? { label: "feeder says", value: "nothing about being paused", at: null }
    : { label: "feeder says", value: feederSays.paused ? "paused" : "not paused", at: feederSays.at };
