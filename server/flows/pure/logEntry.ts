import type { LoggedAct, LoggedSettings } from "../../contract/feederLog.ts";
import type { Fact, ReportedRefill } from "../../domain/facts.ts";
import { type Instant, instantOf, isoOf } from "../../domain/instant.ts";
import type { NotifiedPriority } from "../../domain/notification/escalation.ts";
import type { RefusalReason } from "../../domain/reportFaults.ts";
import type { FeederSettings } from "../../domain/settings.ts";
import { grams } from "../../domain/units.ts";
import { texts } from "../../text/index.ts";
import { loggedSettings, withLoggedSettings } from "./loggedSettings.ts";
import { newOrder } from "./newOrder.ts";
import { changeSettings } from "./requestedSettings.ts";

/** What is done to a feeder, as its log says it, and back: `factOf` of what `saidOfFact` says is the very same fact. */

/** Whatever can happen to a feeder besides its own reports and patrol's looks. */
export type KeeperFact = Exclude<Fact, { kind: "reported" | "minutePassed" }>;

/** A log's line without its moment and its feeder. */
export type LogEntry =
  | { readonly by?: string | undefined; readonly settings: LoggedSettings }
  | { readonly keeper: LoggedAct }
  | { readonly refused: RefusalReason }
  | { readonly orders: "sent" };

/** @param by the keeper whose hand it was; null where it was nobody's. */
// Long: one case for each kind of fact.
export function logEntryOf(fact: KeeperFact, at: Instant, by: string | null): LogEntry {
  const author = by === null ? {} : { by };
  switch (fact.kind) {
    case "settingsChanged":
      return { ...author, settings: loggedSettings(fact.settings) };
    case "refillReported":
      return { keeper: { ...author, refill: loggedRefill(fact.refill, at) } };
    case "cleaned":
      return { keeper: { by: fact.by, cleaned: fact.at === at ? {} : { at: isoOf(fact.at) } } };
    case "orderRequested": {
      const { id, kind, until, requestedBy } = fact.order;
      if (kind === "resume") return { keeper: { by: requestedBy, resume: { id } } };
      return { keeper: { by: requestedBy, pause: { id, until: until === null ? null : isoOf(until) } } };
    }
    case "ordersSent":
      return { orders: "sent" };
    case "reportRefused":
      return { refused: fact.problem };
    case "alarmAcknowledged":
      return {
        keeper: {
          by: fact.by,
          acknowledge: { fault: fact.fault, ...loggedRaise(fact.raisedAt), ...loggedPriority(fact.notifiedPriority) },
        },
      };
    case "alarmShelved":
      return { keeper: { by: fact.by, shelve: { fault: fact.fault, until: isoOf(fact.until) } } };
    case "alarmReset":
      return { keeper: { by: fact.by, reset: { fault: fact.fault } } };
    case "alarmTakenOutOfService":
      return { keeper: { by: fact.by, outOfService: { fault: fact.fault, reason: fact.reason } } };
    case "alarmReturnedToService":
      return { keeper: { by: fact.by, returnToService: { fault: fact.fault } } };
  }
}

const loggedPriority = (notifiedPriority: NotifiedPriority | undefined) =>
  notifiedPriority === undefined ? {} : { notifiedPriority };
const loggedRaise = (raisedAt: Instant | null) => (raisedAt === null ? {} : { raisedAt: isoOf(raisedAt) });

export const factOf = (request: LogEntry, at: Instant, settings: FeederSettings): KeeperFact => {
  if ("settings" in request) {
    return { kind: "settingsChanged", settings: withLoggedSettings(settings, request.settings, changeSettings) };
  }
  if ("refused" in request) return { kind: "reportRefused", problem: request.refused };
  return "orders" in request ? { kind: "ordersSent" } : factOfAct(request.keeper, at);
};

// Long: one case for each kind of action, the opposite of `logEntryOf`.
function factOfAct(action: LoggedAct, at: Instant): KeeperFact {
  const {
    by = texts.feederReports.someKeeper,
    refill,
    pause,
    resume,
    acknowledge,
    shelve,
    reset,
    outOfService,
    returnToService,
  } = action;
  if (action.cleaned) return { kind: "cleaned", at: action.cleaned.at ? instantOf(action.cleaned.at) : at, by };
  if (refill)
    return {
      kind: "refillReported",
      refill: { at: refill.at ? instantOf(refill.at) : at, what: refillContent(refill) },
    };
  if (acknowledge) {
    const raisedAt = acknowledge.raisedAt ? instantOf(acknowledge.raisedAt) : null;
    return {
      kind: "alarmAcknowledged",
      fault: acknowledge.fault,
      by,
      raisedAt,
      ...loggedPriority(acknowledge.notifiedPriority),
    };
  }
  if (shelve) return { kind: "alarmShelved", fault: shelve.fault, until: instantOf(shelve.until), by };
  if (reset) return { kind: "alarmReset", fault: reset.fault, by };
  if (outOfService)
    return { kind: "alarmTakenOutOfService", fault: outOfService.fault, reason: outOfService.reason, by };
  if (returnToService) return { kind: "alarmReturnedToService", fault: returnToService.fault, by };
  if (resume)
    return { kind: "orderRequested", order: newOrder({ id: resume.id, kind: "resume", until: null, by }, at) };
  if (pause) {
    const until = pause.until ? instantOf(pause.until) : null;
    return { kind: "orderRequested", order: newOrder({ id: pause.id, kind: "pause", until, by }, at) };
  }
  throw new Error("expected the contract to let pass one act, got none");
}

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
