import type { LocalStore } from "./localStore.ts";

/**
 * What the keeper asked for while the server could not be reached. It waits on the phone with its own id, so that sending
 * it twice is asking once, and with an end: a pause that arrives half an hour late would surprise the keeper.
 */
export type QueuedAction = FeederAction | YardAction;

interface CommonAction {
  readonly id: string;
  readonly path: string;
  readonly body: unknown;
  readonly text: string; // "pause until resumed"
  readonly requestedAt: number; // ms since the epoch, the phone's clock
  /** The notice that was answered on the screen, to say there what became of it; left out for what was asked on a page. */
  readonly notification?: { readonly title: string; readonly tag: string; readonly path: string };
}

export interface FeederAction extends CommonAction {
  readonly kind:
    | "pause"
    | "resume"
    | "refill"
    | "cleaned"
    | "acknowledge"
    | "shelve"
    | "takeOutOfService"
    | "returnToService"
    | "reset";
  readonly feeder: string;
  readonly feederName: string;
}

/** One order for all feeders of a yard: a single request, so that all are asked or none. */
export interface YardAction extends CommonAction {
  readonly kind: "pauseAll" | "resumeAll";
  readonly yard: string;
  readonly yardName: string;
  /** Those that it is meant for, as the phone knew them. A resume leaves out feeders that hands may be in. */
  readonly feeders: readonly string[];
}

/** What it is asked of, as the keeper calls it. */
export const targetName = (act: QueuedAction) => ("yard" in act ? act.yardName : act.feederName);

/** Where the cupboard keeps it, for the page and for the worker beside it. */
export const queuedActionKey = (id: string) => `waiting/${id}`;

export async function storedActions(cupboard: LocalStore): Promise<readonly QueuedAction[]> {
  const keys = (await cupboard.keys()).filter((key) => key.startsWith(queuedActionKey("")));
  const acts = await Promise.all(keys.map((key) => cupboard.get<QueuedAction>(key)));
  return acts.filter((act) => act !== undefined);
}

const minuteMs = 60_000;

/** How long each may wait. Common practice, no source: as long as the keeper would still mean it. */
const maxWaitMs: Readonly<Record<QueuedAction["kind"], number>> = {
  pause: 10 * minuteMs,
  resume: 10 * minuteMs,
  pauseAll: 10 * minuteMs,
  resumeAll: 10 * minuteMs,
  refill: 7 * 24 * 60 * minuteMs, // it carries its own time, so it is true however late it comes
  cleaned: 7 * 24 * 60 * minuteMs, // the same
  acknowledge: 24 * 60 * minuteMs,
  shelve: 60 * minuteMs,
  takeOutOfService: 24 * 60 * minuteMs,
  returnToService: 24 * 60 * minuteMs,
  reset: 24 * 60 * minuteMs,
};

export const expiresAt = (act: QueuedAction) => act.requestedAt + maxWaitMs[act.kind];

/** A phone whose clock was set back must not keep an old order alive: an act from the future is expired too. */
export const isExpired = (act: QueuedAction, now: number) => now >= expiresAt(act) || act.requestedAt > now + minuteMs;

export function splitExpired(acts: readonly QueuedAction[], now: number) {
  return {
    live: acts.filter((act) => !isExpired(act, now)).sort((one, other) => one.requestedAt - other.requestedAt),
    expired: acts.filter((act) => isExpired(act, now)),
  };
}

/** The feeders whose pause or resume it asks for; empty where it is no order. */
function feedersOfOrder(act: QueuedAction): readonly string[] {
  if ("yard" in act) return act.feeders;
  return act.kind === "pause" || act.kind === "resume" ? [act.feeder] : [];
}

/** The orders that a feeder waits for, in the order in which they were asked. */
export const queuedOrders = (feeder: string, acts: readonly QueuedAction[]) =>
  acts.filter((act) => feedersOfOrder(act).includes(feeder)).sort((one, other) => one.requestedAt - other.requestedAt);

/** What a feeder is asked last by what waits here; null where nothing waits for it. */
export function lastQueuedOrder(feeder: string, acts: readonly QueuedAction[]): "pause" | "resume" | null {
  const last = queuedOrders(feeder, acts).at(-1);
  if (last === undefined) return null;
  return last.kind === "pause" || last.kind === "pauseAll" ? "pause" : "resume";
}

/** Acts that a new one makes pointless: the newest order wins, and asking the same thing again is asking once. */
export const supersededBy = (newest: QueuedAction, acts: readonly QueuedAction[]): readonly QueuedAction[] =>
  acts.filter((act) => act.id !== newest.id && isSuperseded(act, newest));

function isSuperseded(act: QueuedAction, newest: QueuedAction): boolean {
  const ordered = feedersOfOrder(act);
  if ("yard" in act) {
    // The yard may have feeders that this phone doesn't know yet: an order for some is none for all of them.
    return "yard" in newest && act.yard === newest.yard && ordered.every((id) => newest.feeders.includes(id));
  }
  if (ordered.length > 0) return feedersOfOrder(newest).includes(act.feeder);
  return !("yard" in newest) && act.feeder === newest.feeder && act.kind !== "refill" && act.path === newest.path;
}

/** What the server's answer means for an act that waits. */
export function deliveryDecision(
  answer: "ok" | "unreachable" | "signedOut" | "problem",
  status: number,
): "done" | "keep" | "drop" {
  switch (answer) {
    case "ok":
      return "done";
    case "unreachable":
    case "signedOut":
      return "keep";
    case "problem":
      return status >= 500 || status === 408 || status === 429 ? "keep" : "drop";
  }
}
