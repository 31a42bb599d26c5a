import type { LoggedAct, LoggedSettings } from "../../contract/feederLog.ts";
import type { Fact, ReportedRefill } from "../../domain/facts.ts";
import { type Instant, instantOf, isoOf } from "../../domain/instant.ts";
import type { NotifiedPriority } from "../../domain/notification/escalation.ts";
import type { RefusalReason } from "../../domain/reportFaults.ts";
import type { FeederSettings } from "../../domain/settings.ts";
import { grams } from "../../domain/units.ts";
import { texts } from "../../text/index.ts";
import { benchActOf, benchRequestOf } from "./benchActs.ts";
import { loggedSettings, withLoggedSettings } from "./loggedSettings.ts";
import { newOrder } from "./newOrder.ts";
import { changeSettings } from "./requestedSettings.ts";

/** A feeder's log entry of what a keeper did to it, and back: `factOf` makes the same fact from the entry of `logEntryOf`. */

/** Whatever can happen to a feeder besides its own reports and the periodic check. */
export type KeeperFact = Exclude<Fact, { kind: "reported" | "minutePassed" }>;

/** A line of the log without its moment and its feeder. */
export type LogEntry =
  | { readonly by?: string | undefined; readonly settings: LoggedSettings }
  | { readonly keeper: LoggedAct }
  | { readonly refused: RefusalReason }
  | { readonly orders: "sent" };

/** @param by the keeper who did it; null where nobody did. */
export function logEntryOf(fact: KeeperFact, at: Instant, by: string | null): LogEntry {
  const entry = entryByKind[fact.kind] as (fact: KeeperFact, at: Instant, by: string | null) => LogEntry;
  return entry(fact, at, by);
}

type EntryByKind = {
  readonly [Kind in KeeperFact["kind"]]: (
    fact: Extract<KeeperFact, { kind: Kind }>,
    at: Instant,
    by: string | null,
  ) => LogEntry;
};

const entryByKind: EntryByKind = {
  settingsChanged: ({ settings }, _, by) => ({ ...authorOf(by), settings: loggedSettings(settings) }),
  refillReported: ({ refill }, at, by) => ({ keeper: { ...authorOf(by), refill: loggedRefill(refill, at) } }),
  cleaned: (fact, at) => ({ keeper: { by: fact.by, cleaned: fact.at === at ? {} : { at: isoOf(fact.at) } } }),
  orderRequested({ order: { id, kind, until, requestedBy } }) {
    if (kind === "resume") return { keeper: { by: requestedBy, resume: { id } } };
    return { keeper: { by: requestedBy, pause: { id, until: until === null ? null : isoOf(until) } } };
  },
  benchAct: ({ act, by }) => ({ keeper: { by, bench: benchRequestOf(act) } }),
  ordersSent: () => ({ orders: "sent" }),
  reportRefused: ({ problem }) => ({ refused: problem }),
  alarmAcknowledged: ({ by, fault, raisedAt, notifiedPriority }) => ({
    keeper: { by, acknowledge: { fault, ...loggedRaise(raisedAt), ...loggedPriority(notifiedPriority) } },
  }),
  alarmShelved: ({ by, fault, until }) => ({ keeper: { by, shelve: { fault, until: isoOf(until) } } }),
  alarmReset: ({ by, fault }) => ({ keeper: { by, reset: { fault } } }),
  alarmTakenOutOfService: ({ by, fault, reason }) => ({ keeper: { by, outOfService: { fault, reason } } }),
  alarmReturnedToService: ({ by, fault }) => ({ keeper: { by, returnToService: { fault } } }),
};

const authorOf = (by: string | null) => (by === null ? {} : { by });
const loggedPriority = (notifiedPriority: NotifiedPriority | undefined) =>
  notifiedPriority === undefined ? {} : { notifiedPriority };
const loggedRaise = (raisedAt: Instant | null) => (raisedAt === null ? {} : { raisedAt: isoOf(raisedAt) });

export const factOf = (entry: LogEntry, at: Instant, settings: FeederSettings): KeeperFact => {
  if ("settings" in entry) {
    return { kind: "settingsChanged", settings: withLoggedSettings(settings, entry.settings, changeSettings) };
  }
  if ("refused" in entry) return { kind: "reportRefused", problem: entry.refused };
  return "orders" in entry ? { kind: "ordersSent" } : factOfAction(entry.keeper, at);
};

function factOfAction(action: LoggedAct, at: Instant): KeeperFact {
  const { by = texts.feederReports.someKeeper } = action;
  for (const name of actionNames) {
    const content = action[name];
    if (content === undefined) continue;
    const fact = factByAction[name] as (content: unknown, at: Instant, by: string) => KeeperFact;
    return fact(content, at, by);
  }
  throw new Error("expected an entry with one action, got none");
}

type ActionName = Exclude<keyof LoggedAct, "by">;
type FactByAction = {
  readonly [Name in ActionName]-?: (content: NonNullable<LoggedAct[Name]>, at: Instant, by: string) => KeeperFact;
};

/** The opposite of `entryByKind`. */
const factByAction: FactByAction = {
  cleaned: (cleaned, at, by) => ({ kind: "cleaned", at: cleaned.at ? instantOf(cleaned.at) : at, by }),
  refill: (refill, at) => ({
    kind: "refillReported",
    refill: { at: refill.at ? instantOf(refill.at) : at, what: refillContent(refill) },
  }),
  acknowledge: ({ fault, raisedAt, notifiedPriority }, _, by) => ({
    kind: "alarmAcknowledged",
    fault,
    by,
    raisedAt: raisedAt ? instantOf(raisedAt) : null,
    ...loggedPriority(notifiedPriority),
  }),
  shelve: ({ fault, until }, _, by) => ({ kind: "alarmShelved", fault, until: instantOf(until), by }),
  reset: ({ fault }, _, by) => ({ kind: "alarmReset", fault, by }),
  outOfService: ({ fault, reason }, _, by) => ({ kind: "alarmTakenOutOfService", fault, reason, by }),
  bench: (request, _, by) => ({ kind: "benchAct", act: benchActOf(request), by }),
  returnToService: ({ fault }, _, by) => ({ kind: "alarmReturnedToService", fault, by }),
  resume: ({ id }, at, by) => ({
    kind: "orderRequested",
    order: newOrder({ id, kind: "resume", until: null, by }, at),
  }),
  pause: ({ id, until }, at, by) => ({
    kind: "orderRequested",
    order: newOrder({ id, kind: "pause", until: until ? instantOf(until) : null, by }, at),
  }),
};
const actionNames = Object.keys(factByAction) as readonly ActionName[];

type LoggedRefill = NonNullable<LoggedAct["refill"]>;

function loggedRefill({ at: happenedAt, what }: ReportedRefill, at: Instant): LoggedRefill {
  const when = happenedAt === at ? {} : { at: isoOf(happenedAt) };
  switch (what.kind) {
    case "added":
      return { ...when, grams: what.grams };
    case "filled":
      return { ...when, filled: true };
    case "level":
      return { ...when, levelGrams: what.grams };
  }
}

function refillContent({ grams: added, levelGrams }: LoggedRefill): ReportedRefill["what"] {
  if (added !== undefined) return { kind: "added", grams: grams(added) };
  return levelGrams === undefined ? { kind: "filled" } : { kind: "level", grams: grams(levelGrams) };
}
