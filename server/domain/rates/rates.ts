import { type Instant, minutes } from "../instant.ts";
import { type Flood, floodsOf } from "./floods.ts";
import { livesOf, type Raising, type RatesHistory } from "./history.ts";
import { feederWeeks, mostWithin, perDayOf, wholeDays } from "./load.ts";
import { type Loader, loadersOf } from "./loaders.ts";
import { type Chatter, chatteringOf, fleetingOf, staleOf } from "./nuisance.ts";

/**
 * How well a yard's alarms themselves do their work, by the measures of ANSI/ISA-18.2 and IEC 62682. A note asks for no act and
 * is no alarm in their sense: it is counted apart, and in nothing else.
 */
export interface Rates {
  readonly from: Instant;
  readonly to: Instant;
  readonly zone: string;
  readonly days: number; // whole ones that are known
  readonly feeders: RatesHistory["feeders"];
  readonly raised: readonly Raising[]; // within the span, in order
  readonly notes: readonly Instant[]; // when they were
  readonly perDay: number;
  readonly worstTenMinutes: number;
  readonly perFeederWeek: number;
  readonly rangPerFeederWeek: number | null; // pushes that rang; null where none is known
  readonly floods: readonly Flood[];
  readonly chattering: readonly Chatter[];
  readonly fleeting: readonly Raising[];
  readonly stale: readonly Raising[]; // stale just now, the longest first
  readonly loaders: readonly Loader[]; // all, the most frequent first
  readonly unanswered: readonly Raising[]; // over, and nobody had acknowledged them
}

export function ratesOf({ from, to, zone, feeders, changes, standing, rang }: RatesHistory): Rates {
  const lives = livesOf({ changes, standing, from });
  const raised = lives.raisings.filter(({ at }) => at >= from);
  const times = raised.map(({ at }) => at);
  const weeks = feederWeeks(feeders, from, to);
  return {
    from,
    to,
    zone,
    days: wholeDays(from, to),
    feeders,
    raised,
    notes: lives.notes.map(({ at }) => at).filter((at) => at >= from),
    perDay: perDayOf(raised.length, from, to),
    worstTenMinutes: mostWithin(times, minutes(10)),
    perFeederWeek: weeks === 0 ? 0 : raised.length / weeks,
    rangPerFeederWeek: rang === null || weeks === 0 ? null : rang / weeks,
    floods: floodsOf(times, to),
    chattering: chatteringOf(lives.comings),
    fleeting: fleetingOf(raised),
    stale: staleOf(lives.raisings, to),
    loaders: loadersOf(raised),
    unanswered: raised.filter(({ acknowledgedAt, endedAt }) => acknowledgedAt === null && endedAt !== null),
  };
}
