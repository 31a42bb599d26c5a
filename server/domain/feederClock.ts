import { bootLabel, bootNumber } from "./bootNumber.ts";
import { after, before, between, earlier, type Instant, minutes, type Span } from "./instant.ts";

/**
 * Such boards have no clock after a power cut, so a feeder reports only its uptime. One report shows which uptime was "now"
 * (`receivedAt`, the server's time); every other moment of that boot follows from it.
 */
export interface FeederClock {
  /** The newest boot last, at most `bootsRemembered` of them: enough for a feeder that restarts all through an outage. */
  readonly boots: readonly BootAnchor[];
  /** The boot id that several starts have in common; left out where each start chose its own. */
  readonly reusedBoot?: ReusedBoot;
}

export interface ReusedBoot {
  readonly boot: string; // as the feeder reports it
  readonly startCount: number; // known so far
  readonly noticedAt: Instant; // when the newest one was noticed
}

/** At `receivedAt` the feeder had been up for `uptime` in this boot: the largest uptime reported so far. */
export interface BootAnchor {
  readonly boot: string;
  readonly receivedAt: Instant;
  readonly uptime: Span;
}

const bootsRemembered = 8;

export const initialClock = (): FeederClock => ({ boots: [] });

/** Boots loaded for one report stay out of the state, unless that report made it the newest. */
export const withNewestBoots = (clock: FeederClock): FeederClock =>
  clock.boots.length <= bootsRemembered ? clock : { ...clock, boots: clock.boots.slice(-bootsRemembered) };

export interface SendingTime {
  readonly clock: FeederClock;
  readonly instantOf: (uptime: Span) => Instant;
  /** When the boot began, from which `instantOf` follows; null where it isn't known. */
  readonly bootedAt: Instant | null;
}

/**
 * Reads a report's time. `sentUptime` null means "left behind by an earlier boot": its moments follow from
 * earlier reports of that boot, or, without any, are taken as now, since nothing better is known.
 * No moment lies after `receivedAt`: reported events have happened.
 * @param boot with its number, as `numberedBoot` makes it
 */
export function sendingTime(
  clock: FeederClock,
  boot: string,
  sentUptime: Span | null,
  receivedAt: Instant,
): SendingTime {
  const withReused = updateReusedBoot(clock, boot, sentUptime, receivedAt);
  const anchorOfBoot = clock.boots.find((anchor) => anchor.boot === boot);
  // A late copy must not move the anchor, nor a report of a start that is over: the report that it repeats was more exact.
  if (
    sentUptime === null ||
    (anchorOfBoot && (isDuplicate(anchorOfBoot, sentUptime, receivedAt) || hasLaterStart(clock, boot)))
  ) {
    return { clock: withReused, ...datingFrom(anchorOfBoot, receivedAt) };
  }
  const anchor = { boot, receivedAt, uptime: sentUptime };
  const others = clock.boots.filter((other) => other.boot !== boot);
  return {
    clock: { ...withReused, boots: [...others, anchor].slice(-bootsRemembered) },
    ...datingFrom(anchor, receivedAt),
  };
}

/** The newest report itself may come twice. A board whose uptime stands still for longer sends no copies. */
const isDuplicate = (anchorOfBoot: BootAnchor, uptime: Span, receivedAt: Instant): boolean =>
  uptime < anchorOfBoot.uptime ||
  (uptime === anchorOfBoot.uptime && between(anchorOfBoot.receivedAt, receivedAt) <= duplicateDelayMax);

/** Any sender has stopped retrying by then. Common practice, no source. */
const duplicateDelayMax = minutes(10);

/** A newer start under the same id is known. */
const hasLaterStart = ({ boots }: FeederClock, boot: string): boolean =>
  boots.some((other) => bootLabel(other.boot) === bootLabel(boot) && bootNumber(other.boot) > bootNumber(boot));

/** Ends as soon as the feeder reports under another id. */
function updateReusedBoot(clock: FeederClock, boot: string, sentUptime: Span | null, at: Instant): FeederClock {
  const { reusedBoot, ...rest } = clock;
  const [label, bootNumberOf] = [bootLabel(boot), bootNumber(boot)];
  const startCount = reusedBoot?.boot === label ? reusedBoot.startCount : 1;
  if (bootNumberOf > startCount)
    return { ...rest, reusedBoot: { boot: label, startCount: bootNumberOf, noticedAt: at } };
  return reusedBoot !== undefined && reusedBoot.boot !== label && sentUptime !== null ? rest : clock;
}

function datingFrom(anchor: BootAnchor | undefined, receivedAt: Instant): Omit<SendingTime, "clock"> {
  const bootedAt = anchor === undefined ? null : before(anchor.receivedAt, anchor.uptime);
  return { bootedAt, instantOf: (uptime) => eventInstant(bootedAt, uptime, receivedAt) };
}

/** When an event happened, at `uptime` of a boot that began at `bootedAt` (null: not known); never after its report was received. */
export const eventInstant = (bootedAt: Instant | null, uptime: Span, receivedAt: Instant): Instant =>
  bootedAt === null ? receivedAt : earlier(after(bootedAt, uptime), receivedAt);
