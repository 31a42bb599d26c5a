import { after, earlier, type Instant, minutes, type Span } from "./instant.ts";

/**
 * Such boards have no clock after a power cut, so a feeder tells only how long it has been up. From one report we know
 * when an uptime was "now" (`receivedAt`, ours); every other moment of that boot follows from there.
 */
export interface FeederClock {
  /** The newest boot last, at most `bootsRemembered` of them: enough for a feeder that restarts all through an outage. */
  readonly boots: readonly BootAnchor[];
}

/** At `receivedAt` the feeder had been up for `uptime` in this boot: the largest uptime it has told so far. */
export interface BootAnchor {
  readonly boot: string;
  readonly receivedAt: Instant;
  readonly uptime: Span;
}

const bootsRemembered = 8;

/**
 * A report that was under way for longer than this was given up by any sender long ago. An uptime that is further behind
 * than this comes from another start of the feeder that uses the same boot id. Common practice, no source.
 */
const lateReportMax = minutes(10);

export const unsetClock = (): FeederClock => ({ boots: [] });

export type SendingTime =
  | { readonly kind: "known"; readonly clock: FeederClock; readonly momentOf: (uptime: Span) => Instant }
  | { readonly kind: "bootReused"; readonly uptimeBefore: Span };

/**
 * Reads a report's time. `sentUptime` null means "left behind by an earlier boot": its moments follow from what that boot
 * told while it ran, or, if it never told anything, are taken as now, since nothing better is known.
 * No moment lies after `receivedAt`: what is told has happened.
 */
export function readSendingTime(
  clock: FeederClock,
  boot: string,
  sentUptime: Span | null,
  receivedAt: Instant,
): SendingTime {
  const known = clock.boots.find((anchor) => anchor.boot === boot);
  if (sentUptime === null) return { kind: "known", clock, momentOf: momentsFrom(known, receivedAt) };
  if (known && sentUptime < known.uptime - lateReportMax) return { kind: "bootReused", uptimeBefore: known.uptime };

  const anchor = { boot, receivedAt, uptime: sentUptime };
  // A late duplicate must not move the anchor back; the newer report knew better.
  if (known && sentUptime < known.uptime) return { kind: "known", clock, momentOf: momentsFrom(known, receivedAt) };
  const others = clock.boots.filter((other) => other.boot !== boot);
  return {
    kind: "known",
    clock: { boots: [...others, anchor].slice(-bootsRemembered) },
    momentOf: momentsFrom(anchor, receivedAt),
  };
}

function momentsFrom(anchor: BootAnchor | undefined, receivedAt: Instant): (uptime: Span) => Instant {
  if (!anchor) return () => receivedAt;
  return (uptime) => earlier(after(anchor.receivedAt, (uptime - anchor.uptime) as Span), receivedAt);
}
