import type { Fault } from "../faults.ts";
import { type Instant, inHours, minutes, type Span } from "../instant.ts";
import type { Readings } from "../report.ts";
import { type FreezeThaw, feltFreezeThaw, unfrozen } from "./freezeThaw.ts";

/**
 * Food that thaws gets wet, and what is wet freezes together: after some rounds of that it cakes, bridges and jams. Counted
 * inside the box, where the food is, since the last refill.
 */
export interface Caking {
  readonly freezeThaw: FreezeThaw;
  readonly damp: Span; // so long the box was thawed and damp
  readonly feltAt: Instant | null; // when it was last looked at; null since the refill
  readonly since: Instant | null; // the first look since the refill
}

export const freshFood = (): Caking => ({ freezeThaw: unfrozen(), damp: 0 as Span, feltAt: null, since: null });

export function feltCaking(before: Caking, { inside, air, humidity }: Readings, at: Instant): Caking {
  const temperature = inside ?? air;
  if (temperature === null) return before;
  const freezeThaw = feltFreezeThaw(before.freezeThaw, temperature, thawDeadband);
  const isDamp = humidity !== null && humidity >= dampFrom && temperature > 0;
  // A gap in the reports tells nothing of the hours in it.
  const passed = before.feltAt === null ? 0 : Math.min(at - before.feltAt, gapMax);
  const damp = isDamp && passed > 0 ? ((before.damp + passed) as Span) : before.damp;
  return { freezeThaw, damp, feltAt: at, since: before.since ?? at };
}

export function feedCaking({ freezeThaw, damp, since }: Caking): Fault | null {
  const { cycles } = freezeThaw;
  const isDamp = damp >= dampEnough;
  if (cycles < (isDamp ? cyclesWhenDamp : cyclesWhenDry)) return null;
  return {
    kind: "feedCaking",
    reason:
      `The food has frozen and thawed ${cycles} times since the last refill` +
      `${isDamp ? ", and the box was damp in between" : ""}: it may cake and then bridge or jam.`,
    evidence: [
      { what: "times the box froze and thawed", value: String(cycles), at: since },
      { what: "hours thawed and damp", value: String(Math.round(inHours(damp))), at: null },
    ],
    sure: null,
  };
}

// Common practice, no source: nobody has measured it for bird food. Damp food needs few rounds, dry food many; the
// finding is a note for the next visit and never rings, so being wrong costs a glance.
const cyclesWhenDamp = 4;
const cyclesWhenDry = 10;
const dampFrom = 85; // percent, above which grain and nuts take up water in days
const dampEnough = minutes(12 * 60);
const gapMax = minutes(30);
/** The mass of the food follows the box slowly: half-degree tremors about zero freeze none of it. */
const thawDeadband = 1;
