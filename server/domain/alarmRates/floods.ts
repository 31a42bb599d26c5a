import { after, type Instant } from "../instant.ts";
import { floodRule } from "./limits.ts";

/** More alarms than a person can handle. */
export interface Flood {
  readonly from: Instant; // when the eleventh within ten minutes came
  readonly to: Instant | null; // when fewer than five were left within ten minutes; null: not yet
  /** All from the first of those eleven until its end. */
  readonly alarmCount: number;
  readonly firstIndex: number; // which alarm, by its place in the list, began it
}

/**
 * Floods among alarms raised at these moments, in order. The window is the ten minutes up to a moment, that moment in it and
 * the one ten minutes ago no more.
 * @param to until when the list is complete
 */
export function alarmFloods(times: readonly Instant[], to: Instant): Flood[] {
  const { within, beginsAbove, endsBelow } = floodRule;
  const floods: Flood[] = [];
  let current: { readonly from: Instant; readonly first: number } | null = null;
  for (let newest = 0, oldest = 0; newest < times.length; newest += 1) {
    const at = times[newest] ?? to;
    while ((times[oldest] ?? at) <= at - within) oldest += 1;
    if (current === null && newest - oldest + 1 > beginsAbove) current = { from: at, first: oldest };
    if (current === null) continue;
    // It ends when the fifth newest leaves the window, unless another alarm comes by then.
    const endsAt = after(times[newest - endsBelow + 1] ?? at, within);
    if (endsAt >= (times[newest + 1] ?? Number.POSITIVE_INFINITY)) continue;
    const alarmCount = newest - current.first + 1;
    floods.push({ from: current.from, to: endsAt <= to ? endsAt : null, alarmCount, firstIndex: current.first });
    current = null;
  }
  return floods;
}
