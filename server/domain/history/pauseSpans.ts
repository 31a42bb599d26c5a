import type { Effect } from "../effects.ts";
import { after, earlier, type Instant, later, milliseconds, type Span } from "../instant.ts";
import type { OrdersState } from "../orders/order.ts";
import { pauseStatus } from "../orders/pauseStatus.ts";

/**
 * When a feeder was paused, by what it has confirmed and stated, as the digest has it; a pause that was set at the feeder itself
 * is known here too. Deposits in a pause expect no portion.
 */
export interface PauseSpans {
  readonly current: CurrentPause | null;
  readonly ended: readonly { readonly from: Instant; readonly to: Instant }[]; // newest last, at most `endedMax`
}

interface CurrentPause {
  readonly from: Instant;
  readonly until: Instant | null; // it ends by itself; null: it doesn't, or is not known to
}

export const initialPauseSpans: PauseSpans = { current: null, ended: [] };

/** A report may hold events of the last few pauses. */
const endedMax = 4;

/** `orders` and `effects`: after the step, and of it. */
export function updatePauseSpans(
  before: PauseSpans,
  orders: OrdersState,
  effects: readonly Effect[],
  now: Instant,
): PauseSpans {
  let spans = before;
  for (const effect of effects) {
    if (effect.kind !== "orderChanged") continue;
    const { status, answeredAt, kind, until } = effect.order;
    if (status !== "confirmed" || answeredAt === null) continue;
    spans = kind === "pause" ? beginPause(spans, answeredAt, until) : endPause(spans, answeredAt);
  }
  const status = pauseStatus(orders, now);
  switch (status.kind) {
    case "paused":
      return spans.current === null ? beginPause(spans, status.at, null) : spans;
    case "feeding":
      return endPause(spans, status.at);
    case "endedUnconfirmed":
      return endPause(spans, status.until);
    case "unknown":
      return endPause(spans, status.startedAt ?? now);
  }
}

function beginPause(spans: PauseSpans, at: Instant, until: Instant | null): PauseSpans {
  const { current, ended } = spans;
  if (current !== null) return current.until === until ? spans : { ...spans, current: { ...current, until } };
  const lastEnd = ended.at(-1)?.to ?? at;
  return { current: { from: later(at, lastEnd), until }, ended };
}

function endPause(spans: PauseSpans, at: Instant): PauseSpans {
  const { current, ended } = spans;
  if (current === null) return spans;
  const to = earlier(at, current.until ?? at);
  if (to <= current.from) return { current: null, ended };
  return { current: null, ended: [...ended, { from: current.from, to }].slice(-endedMax) };
}

export const isPausedAt = (spans: PauseSpans, at: Instant): boolean => pausedTime(spans, at, after(at, one)) > 0;
const one = milliseconds(1);

/** How much of the time from `from` to `to` it was paused. */
export function pausedTime({ current, ended }: PauseSpans, from: Instant, to: Instant): Span {
  let total = current === null ? 0 : overlap(later(from, current.from), earlier(to, current.until ?? to));
  for (const span of ended) total += overlap(later(from, span.from), earlier(to, span.to));
  return milliseconds(total);
}

const overlap = (from: Instant, to: Instant): number => Math.max(0, to - from);
