import type { Instant } from "../instant.ts";
import { type Flood, floodsOf, timeInFlood } from "./floods.ts";
import { livesOf, type Raising, type RatesHistory } from "./history.ts";
import { feederWeeks, type Load, loadOf, wholeDays } from "./load.ts";
import { type Chatter, chatteringOf, fleetingOf, type Stale, staleOf } from "./nuisance.ts";
import {
  type Answers,
  answersOf,
  type Loader,
  loadersOf,
  type PriorityShare,
  prioritySharesOf,
  type SetAside,
  setAsideOf,
} from "./shares.ts";

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
  readonly load: Load;
  readonly perFeederWeek: number;
  readonly rangPerFeederWeek: number | null; // pushes that rang; null where nobody kept that
  readonly floods: readonly Flood[];
  readonly timeInFlood: number; // share
  readonly chattering: readonly Chatter[];
  readonly fleeting: readonly Raising[];
  readonly stale: Stale;
  readonly loaders: readonly Loader[]; // all, the most frequent first
  readonly topTenShare: number | null; // of all alarms; null where there was none
  readonly priorities: readonly PriorityShare[];
  readonly answers: Answers;
  readonly setAside: SetAside;
}

export function ratesOf(history: RatesHistory): Rates {
  const { from, to, zone, feeders, changes, rang } = history;
  const lives = livesOf(history);
  const raised = lives.raisings.filter(({ at }) => at >= from);
  const times = raised.map(({ at }) => at);
  const weeks = feederWeeks(feeders, from, to);
  const floods = floodsOf(times, to);
  const loaders = loadersOf(raised);
  return {
    from,
    to,
    zone,
    days: wholeDays(from, to),
    feeders,
    raised,
    notes: lives.notes.map(({ at }) => at).filter((at) => at >= from),
    load: loadOf(times, from, to, zone),
    perFeederWeek: weeks === 0 ? 0 : raised.length / weeks,
    rangPerFeederWeek: rang === null || weeks === 0 ? null : rang / weeks,
    floods,
    timeInFlood: timeInFlood(floods, from, to),
    chattering: chatteringOf(lives.comings),
    fleeting: fleetingOf(raised),
    stale: staleOf(lives.raisings, from, to, zone),
    loaders,
    topTenShare: raised.length === 0 ? null : loaders.slice(0, 10).reduce((sum, { share }) => sum + share, 0),
    priorities: prioritySharesOf(raised),
    answers: answersOf(raised),
    setAside: setAsideOf(changes, from),
  };
}
