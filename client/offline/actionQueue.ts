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
export const targetName = (action: QueuedAction) => ("yard" in action ? action.yardName : action.feederName);

/** Its key in the local store, for the page and for the service worker. */
export const queuedActionKey = (id: string) => `queued/${id}`;

export async function storedActions(store: LocalStore): Promise<readonly QueuedAction[]> {
  const keys = (await store.keys()).filter((key) => key.startsWith(queuedActionKey("")));
  const actions = await Promise.all(keys.map((key) => store.get<QueuedAction>(key)));
  return actions.filter((action) => action !== undefined);
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

export const expiresAt = (action: QueuedAction) => action.requestedAt + maxWaitMs[action.kind];

/** A phone whose clock was set back must not keep an old order alive: an action from the future is expired too. */
export const isExpired = (action: QueuedAction, now: number) =>
  now >= expiresAt(action) || action.requestedAt > now + minuteMs;

export function splitExpired(actions: readonly QueuedAction[], now: number) {
  return {
    live: actions.filter((action) => !isExpired(action, now)).sort((one, other) => one.requestedAt - other.requestedAt),
    expired: actions.filter((action) => isExpired(action, now)),
  };
}

/** The feeders that it pauses or resumes; empty where it is no order. */
function feedersOfOrder(action: QueuedAction): readonly string[] {
  if ("yard" in action) return action.feeders;
  return action.kind === "pause" || action.kind === "resume" ? [action.feeder] : [];
}

/** The queued orders for a feeder, the oldest first. */
export const queuedOrders = (feeder: string, actions: readonly QueuedAction[]) =>
  actions
    .filter((action) => feedersOfOrder(action).includes(feeder))
    .sort((one, other) => one.requestedAt - other.requestedAt);

/** The newest queued order for a feeder; null where there is none. */
export function lastQueuedOrder(feeder: string, actions: readonly QueuedAction[]): "pause" | "resume" | null {
  const last = queuedOrders(feeder, actions).at(-1);
  if (last === undefined) return null;
  return last.kind === "pause" || last.kind === "pauseAll" ? "pause" : "resume";
}

/** Actions that a newer one replaces: the newest order counts, and the same action twice is one. */
export const supersededBy = (newest: QueuedAction, actions: readonly QueuedAction[]): readonly QueuedAction[] =>
  actions.filter((action) => action.id !== newest.id && isSuperseded(action, newest));

function isSuperseded(action: QueuedAction, newest: QueuedAction): boolean {
  const ordered = feedersOfOrder(action);
  if ("yard" in action) {
    // The yard may have feeders that this phone doesn't know yet: an order for some is none for all of them.
    return "yard" in newest && action.yard === newest.yard && ordered.every((id) => newest.feeders.includes(id));
  }
  if (ordered.length > 0) return feedersOfOrder(newest).includes(action.feeder);
  return (
    !("yard" in newest) && action.feeder === newest.feeder && action.kind !== "refill" && action.path === newest.path
  );
}

/** What the server's response means for a queued action. */
export function deliveryDecision(
  result: "ok" | "unreachable" | "signedOut" | "problem",
  status: number,
): "done" | "keep" | "drop" {
  switch (result) {
    case "ok":
      return "done";
    case "unreachable":
    case "signedOut":
      return "keep";
    case "problem":
      return status >= 500 || status === 408 || status === 429 ? "keep" : "drop";
  }
}
