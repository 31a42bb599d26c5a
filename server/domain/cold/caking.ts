import { numberText } from "../../text/format.ts";
import { texts } from "../../text/index.ts";
import type { Fault } from "../faults.ts";
import { type Instant, inHours, minutes, type Span } from "../instant.ts";
import type { Readings } from "../report.ts";
import { type FreezeThaw, initialFreezeThaw, updateFreezeThaw } from "./freezeThaw.ts";

/**
 * Food that thaws gets wet, and wet food freezes together: after some cycles it cakes, bridges and jams. Counted
 * inside the box, where the food is, since the last refill.
 */
export interface Caking {
  readonly freezeThaw: FreezeThaw;
  readonly dampTime: Span; // how long the box was thawed and damp
  readonly lastReadingAt: Instant | null; // the last reading; null since the refill
  readonly firstReadingAt: Instant | null; // the first reading since the refill
}

export const initialCaking = (): Caking => ({
  freezeThaw: initialFreezeThaw(),
  dampTime: 0 as Span,
  lastReadingAt: null,
  firstReadingAt: null,
});

export function updateCaking(before: Caking, { inside, air, humidity }: Readings, at: Instant): Caking {
  const temperature = inside ?? air;
  if (temperature === null) return before;
  const freezeThaw = updateFreezeThaw(before.freezeThaw, temperature, thawDeadband);
  const isDamp = humidity !== null && humidity >= dampHumidityMin && temperature > 0;
  // The hours of a gap in the reports are unknown.
  const elapsed = before.lastReadingAt === null ? 0 : Math.min(at - before.lastReadingAt, gapMax);
  const dampTime = isDamp && elapsed > 0 ? ((before.dampTime + elapsed) as Span) : before.dampTime;
  return { freezeThaw, dampTime, lastReadingAt: at, firstReadingAt: before.firstReadingAt ?? at };
}

export function cakingFault({ freezeThaw, dampTime, firstReadingAt }: Caking): Fault | null {
  const { cycles } = freezeThaw;
  const isDamp = dampTime >= dampTimeMin;
  if (cycles < (isDamp ? cyclesWhenDamp : cyclesWhenDry)) return null;
  return {
    kind: "feedCaking",
    reason: isDamp ? texts.cold.caking.dampReason(cycles) : texts.cold.caking.reason(cycles),
    evidence: [
      { label: texts.cold.caking.cyclesLabel, value: numberText(cycles), at: firstReadingAt },
      // Without a humidity sensor nothing is known of it.
      ...(dampTime > 0
        ? [{ label: texts.cold.caking.dampHoursLabel, value: numberText(inHours(dampTime)), at: null }]
        : []),
    ],
    confidence: null,
  };
}

// Common practice, no source: nobody has measured it for bird food. Damp food needs few cycles, dry food many; the
// finding is a note for the next visit without a notification, so an error costs little.
const cyclesWhenDamp = 4;
const cyclesWhenDry = 10;
const dampHumidityMin = 85; // percent, above which grain and nuts take up water in days
const dampTimeMin = minutes(12 * 60);
const gapMax = minutes(30);
/** The mass of the food follows the box slowly: changes of half a degree about zero freeze none of it. */
const thawDeadband = 1;
