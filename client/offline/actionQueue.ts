import type { LocalStore } from "./localStore.ts";

/**
 * An action that is not sent yet. It has its own id, so that sending it twice has one effect, and an end: a pause that arrives
 * half an hour late would surprise the keeper.
 */
export type QueuedAction = FeederAction | YardAction;

interface CommonAction {
  readonly id: string;
  readonly path: string;
  readonly body: unknown;
  readonly text: string; // "pause until resumed"
  readonly requestedAt: number; // ms since the epoch, the phone's clock
  /** The notification whose button was tapped, to show the result in its place; absent for an action of a page. */
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

/** One order for all feeders of a yard: a single request, so that all get it or none. */
export interface YardAction extends CommonAction {
  readonly kind: "pauseAll" | "resumeAll";
  readonly yard: string;
  readonly yardName: string;
  /** Its feeders, as the phone knew them. A resume skips feeders that somebody may be working on. */
  readonly feeders: readonly string[];
}

/** The name of its feeder or yard. */
export const targetName = (act: QueuedAction) => ("yard" in act ? act.yardName : act.feederName);

/** Its key in the local store, for the page and for the service worker. */
export const queuedActionKey = (id: string) => `waiting/${id}`;

export async function storedActions(store: LocalStore): Promise<readonly QueuedAction[]> {
  const keys = (await store.keys()).filter((key) => key.startsWith(queuedActionKey("")));
  const acts = await Promise.all(keys.map((key) => store.get<QueuedAction>(key)));
  return acts.filter((act) => act !== undefined);
}

const minuteMs = 60_000;

/** How long each may wait: as long as the keeper would still want it. Our choice. */
const maxWaitMs: Readonly<Record<QueuedAction["kind"], number>> = {
  pause: 10 * minuteMs,
  resume: 10 * minuteMs,
  pauseAll: 10 * minuteMs,
  resumeAll: 10 * minuteMs,
  refill: 7 * 24 * 60 * minuteMs, // it has its own time, so it is right however late it arrives
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

/** The feeders that it pauses or resumes; empty where it is no order. */
function feedersOfOrder(act: QueuedAction): readonly string[] {
  if ("yard" in act) return act.feeders;
  return act.kind === "pause" || act.kind === "resume" ? [act.feeder] : [];
}

/** The queued orders for a feeder, the oldest first. */
export const queuedOrders = (feeder: string, acts: readonly QueuedAction[]) =>
  acts.filter((act) => feedersOfOrder(act).includes(feeder)).sort((one, other) => one.requestedAt - other.requestedAt);

/** The newest queued order for a feeder; null where there is none. */
export function lastQueuedOrder(feeder: string, acts: readonly QueuedAction[]): "pause" | "resume" | null {
  const last = queuedOrders(feeder, acts).at(-1);
  if (last === undefined) return null;
  return last.kind === "pause" || last.kind === "pauseAll" ? "pause" : "resume";
}

/** Actions that a newer one replaces: the newest order counts, and the same action twice is one. */
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

/** What the server's response means for a queued action. */
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
