import { signal } from "@preact/signals";
import * as text from "#text/actions.ts";
import type { FeederView, YardView } from "../../server/contract/api.ts";
import { type ActionView, api, paths } from "../api/api.ts";
import {
  deliveryDecision,
  type FeederAction,
  type QueuedAction,
  queuedActionKey,
  splitExpired,
  storedActions,
  supersededBy,
  targetName,
  type YardAction,
} from "../offline/actionQueue.ts";
import { sendDisplayReceipts } from "../offline/displayReceipts.ts";
import type { LocalStore } from "../offline/localStore.ts";
import { runExclusively } from "../offline/runExclusively.ts";
import { announce } from "./announcement.ts";
import { serverNow } from "./clock.ts";
import { acceptFeeders, findFeeder, refreshHome, signedIn, updateConnectionState } from "./home.ts";
import { closeNotifications, requestSync } from "./shownNotifications.ts";

/**
 * All actions on a feeder go through here: stored on the phone first, then sent. A connection that breaks in the middle costs
 * a repeat, never the action; its id makes the repeat harmless.
 */
export const queuedActions = signal<readonly QueuedAction[]>([]);
/** Actions that failed, and why: shown until the keeper dismisses them. */
export const failedActions = signal<readonly { readonly id: string; readonly text: string }[]>([]);

let store: LocalStore | null = null;

export async function openActions(opened: LocalStore): Promise<void> {
  store = opened;
  const flushSoon = () => {
    if (document.visibilityState !== "hidden") void sendOnce();
  };
  // Not every browser has background sync, and not every phone reports that its connection is back (nor does it to a page that
  // was reloaded without one). A pause must not wait for long, so it is tried again and again.
  addEventListener("online", flushSoon);
  document.addEventListener("visibilitychange", flushSoon);
  setInterval(() => {
    if (queuedActions.value.length > 0 && sending === null && signedIn.value !== "no") flushSoon();
  }, 3_000);
  await loadStoredActions();
  await sendOnce();
}

/** The service worker has stored or sent an action from a notification or from here. */
export const sendQueuedActions = () => void sendOnce();

export type ActionOutcome = "done" | "queued" | "refused";

export const newId = () => crypto.randomUUID?.() ?? randomId(); // randomUUID exists only over HTTPS
function randomId(): string {
  return [...crypto.getRandomValues(new Uint8Array(16))].map((octet) => octet.toString(16).padStart(2, "0")).join("");
}

export function performOnFeeder(
  feeder: FeederView,
  action: Pick<FeederAction, "kind" | "path" | "text"> & { readonly body: (id: string, at: string) => unknown },
): Promise<ActionOutcome> {
  const id = newId();
  return storeAndSend({
    id,
    kind: action.kind,
    feeder: feeder.id,
    feederName: feeder.name,
    path: action.path,
    text: action.text,
    body: action.body(id, new Date(serverNow()).toISOString()),
    requestedAt: Date.now(),
  });
}

/** Pauses or resumes all feeders of a yard until the next order. */
export function performOnYard(
  yard: YardView,
  kind: YardAction["kind"],
  feeders: readonly FeederView[],
): Promise<ActionOutcome> {
  const id = newId();
  const order = kind === "pauseAll" ? "pause" : "resume";
  return storeAndSend({
    id,
    kind,
    yard: yard.id,
    yardName: yard.name,
    feeders: feeders.map((feeder) => feeder.id),
    path: paths.yardOrders(yard.id),
    text: kind === "pauseAll" ? text.pauseAllText : text.resumeAllText,
    body: { id, kind: order, until: null },
    requestedAt: Date.now(),
  });
}

async function storeAndSend(newest: QueuedAction): Promise<ActionOutcome> {
  const { id } = newest;
  for (const old of supersededBy(newest, queuedActions.value)) await removeAction(old);
  await store?.put(queuedActionKey(id), newest); // first of all: what is not in the store counts as sent elsewhere
  if (!queuedActions.value.some((each) => each.id === id)) queuedActions.value = [...queuedActions.value, newest];
  await sendOnce();
  if (queuedActions.value.some((each) => each.id === id)) {
    await requestSync(); // the page may be closed before the connection is back
    announce(text.notSentText(targetName(newest), newest.text));
    return "queued";
  }
  return failedActions.value.some((each) => each.id === id) ? "refused" : "done";
}

let sending: Promise<void> | null = null;
let sendAgain = false;

/** Sends the queue, the oldest action first. One at a time: two at once would only send actions twice. */
async function sendOnce(): Promise<void> {
  if (sending !== null) {
    sendAgain = true;
    return sending;
  }
  sending = (async () => {
    try {
      do {
        sendAgain = false;
        await runExclusively(sendAll);
      } while (sendAgain);
    } finally {
      sending = null; // right after the last check of `sendAgain`, or a request in between would be lost
    }
  })();
  return sending;
}

async function sendAll(): Promise<void> {
  await loadStoredActions();
  const { live, expired } = splitExpired(queuedActions.value, Date.now());
  for (const action of expired) {
    if (!(await isSentElsewhere(action)))
      await reportFailure(action, text.expiredText(targetName(action), action.text));
  }
  for (const action of live) {
    if (await isSentElsewhere(action)) continue;
    const isSettled = await sendAction(action);
    if (!isSettled || signedIn.value === "no") return; // what stops this one stops the others too
  }
  if (store !== null) await sendDisplayReceipts(store, Date.now());
}

/** @returns whether it is out of the queue: sent or refused */
async function sendAction(action: QueuedAction): Promise<boolean> {
  const requestedAt = serverNow();
  const result = await api.sendAction(action.path, action.body);
  updateConnectionState(result);
  const problem = result.kind === "problem" ? result.problem : null;
  switch (deliveryDecision(result.kind, problem?.status ?? 0)) {
    case "done":
      await removeAction(action);
      if (result.kind === "ok") acceptResult(action, result.value, requestedAt);
      return true;
    case "drop":
      await reportFailure(action, text.refusedText(targetName(action), action.text, problem?.detail ?? ""));
      return true;
    case "keep":
      return false;
  }
}

function acceptResult(action: QueuedAction, view: ActionView, requestedAt: number): void {
  const isYards = "skippedFeeders" in view;
  acceptFeeders(isYards ? view.feeders : [view], requestedAt);
  const missed = isYards && "yard" in action ? view.skippedFeeders.filter((id) => action.feeders.includes(id)) : [];
  if (missed.length === 0) return;
  const names = missed.map((id) => findFeeder(id)?.feeder.name ?? id).join(", ");
  const failure = text.skippedText(targetName(action), action.text, names, missed.length);
  failedActions.value = [...failedActions.value, { id: `${action.id} skipped`, text: failure }];
  announce(failure);
}

/** Adds actions from notifications while this page was closed, and those stored earlier. */
async function loadStoredActions(): Promise<void> {
  if (store === null) return;
  const known = new Set(queuedActions.value.map(({ id }) => id));
  const others = (await storedActions(store)).filter(({ id }) => !known.has(id));
  if (others.length > 0) queuedActions.value = [...others, ...queuedActions.value];
}

/** Another window of the same browser may have sent it: then it is no longer stored, and nothing is lost. */
async function isSentElsewhere(action: QueuedAction): Promise<boolean> {
  if (store === null || (await store.get(queuedActionKey(action.id))) !== undefined) return false;
  await removeAction(action);
  void refreshHome(); // the server knows the result, and there is a connection again
  return true;
}

async function reportFailure(action: QueuedAction, failure: string): Promise<void> {
  failedActions.value = [...failedActions.value, { id: action.id, text: failure }];
  announce(failure);
  await removeAction(action);
}

async function removeAction(action: QueuedAction): Promise<void> {
  queuedActions.value = queuedActions.value.filter((each) => each.id !== action.id);
  await store?.remove(queuedActionKey(action.id));
  if (action.notification !== undefined) await closeNotifications(action.notification.tag); // it shows that the action is not sent yet
}

export const cancelAction = (action: QueuedAction) => removeAction(action);

export function dismissFailure(id: string): void {
  failedActions.value = failedActions.value.filter((each) => each.id !== id);
}
