import { bootLabel, bootNumber, numberedBoot } from "./bootNumber.ts";
import type { EventSequence } from "./eventSequence.ts";
import type { BootAnchor, FeederClock } from "./feederClock.ts";
import { between, type Instant, minutes, type Span, seconds } from "./instant.ts";

/** From which boot a report comes, by the clocks alone. */
export type BootByClock =
  /** A known boot goes on, or a late copy of an older report of it. */
  | { readonly kind: "known"; readonly bootNumber: number }
  | { readonly kind: "new" }
  /** A new boot, unless it repeats events of this one: then it is a late copy. */
  | { readonly kind: "newUnlessRepeated"; readonly bootNumber: number }
  /** A new boot, unless its events continue the numbers of this one: then its clock stopped while it slept. */
  | { readonly kind: "newUnlessContinued"; readonly bootNumber: number }
  /** An earlier boot left this behind: it has no uptime of sending. */
  | { readonly kind: "fromEarlierBoot" }
  /** It fits no boot and can't be a new one. */
  | { readonly kind: "unclear"; readonly uptimeBefore: Span };

/** Between two reports of one sender a copy overtakes another by no more than a client's time-out. Common practice, no source. */
const overtakenMax = minutes(2);
/** A report that was under way for longer was given up by any sender long ago. Common practice, no source. */
export const transitTimeMax = minutes(10);
/** How late the newest report itself may have come: a feeder that started just after sending it started before its receipt. */
const anchorDelayMax = seconds(30);
/** No clock runs ahead of ours by more than this between two reports; what does, is of an older boot. */
const clockAheadMax = seconds(60);

/** The known boot numbers of this boot id, the newest first; [1] where none is. */
export function knownBootNumbers(clock: FeederClock, sequence: EventSequence, label: string): readonly number[] {
  const boots = [...clock.boots, ...sequence.boots].map(({ boot }) => boot).filter((boot) => bootLabel(boot) === label);
  const bootNumbers = [...new Set(boots.map(bootNumber))].sort((a, b) => b - a);
  return bootNumbers.length === 0 ? [1] : bootNumbers;
}

/**
 * Each report shows the latest time of its start: `receivedAt` less its uptime. Within one boot this changes only by the delay of
 * reports and the drift of clocks; a new boot started after the last report of the one before.
 * @param bootNumbers as `knownBootNumbers` returns them
 */
export function bootByClock(
  clock: FeederClock,
  label: string,
  bootNumbers: readonly number[],
  sentUptime: Span | null,
  receivedAt: Instant,
): BootByClock {
  if (sentUptime === null) return { kind: "fromEarlierBoot" };
  const anchorOf = (bootNumber: number) => clock.boots.find(({ boot }) => boot === numberedBoot(label, bootNumber));
  const [newest = 1, ...before] = bootNumbers;
  const anchor = anchorOf(newest);
  if (anchor === undefined) return { kind: "known", bootNumber: newest };
  const laterBy = (known: BootAnchor): number => between(known.receivedAt, receivedAt) - (sentUptime - known.uptime);

  const olderBoot = before.find((bootNumber) => {
    const known = anchorOf(bootNumber);
    return known !== undefined && Math.abs(laterBy(known)) <= transitTimeMax;
  });
  const delay = laterBy(anchor);
  const sinceAnchor = between(anchor.receivedAt, receivedAt);
  if (sentUptime < anchor.uptime)
    return bootByLowerUptime({ sentUptime, sinceAnchor, delay, newest, olderBoot, anchor });
  // Far more time passed than its uptime: it restarted meanwhile, and its uptime is longer than that reported last.
  if (delay > transitTimeMax && sentUptime <= sinceAnchor) return { kind: "newUnlessContinued", bootNumber: newest };
  return { kind: "known", bootNumber: delay < -clockAheadMax ? (olderBoot ?? newest) : newest };
}

interface LowerUptime {
  readonly sentUptime: Span;
  readonly sinceAnchor: Span; // since the newest boot's last report
  readonly delay: number; // ms, how much later its start would be than by that report
  readonly newest: number; // boot number
  readonly olderBoot: number | undefined; // one that this report fits
  readonly anchor: BootAnchor;
}

/** Its uptime is lower than that reported last: a late copy, an older boot or a new one. */
function bootByLowerUptime({ sentUptime, sinceAnchor, delay, newest, olderBoot, anchor }: LowerUptime): BootByClock {
  if (delay <= overtakenMax) return { kind: "known", bootNumber: newest };
  const mayBeNew = sentUptime <= sinceAnchor + anchorDelayMax;
  if (mayBeNew) return delay <= transitTimeMax ? { kind: "newUnlessRepeated", bootNumber: newest } : { kind: "new" };
  if (olderBoot !== undefined) return { kind: "known", bootNumber: olderBoot };
  return delay <= transitTimeMax
    ? { kind: "known", bootNumber: newest }
    : { kind: "unclear", uptimeBefore: anchor.uptime };
}
