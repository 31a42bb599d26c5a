import { signal } from "@preact/signals";
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
 * Everything the keeper does to a feeder goes through here: kept on the phone first, then sent. So a line that breaks in
 * the middle costs a repeat, never the act; its id makes the repeat harmless.
 */
export const queuedActions = signal<readonly QueuedAction[]>([]);
/** What was given up, and why: stays until the keeper has read it. */
export const failedActions = signal<readonly { readonly id: string; readonly words: string }[]>([]);

let store: LocalStore | null = null;

export async function openActions(kept: LocalStore): Promise<void> {
  store = kept;
  const flushSoon = () => {
    if (document.visibilityState !== "hidden") void sendOnce();
  };
  // There is no background sync everywhere, so every sign of life is taken as a chance. Not every phone says when its line
  // is back (a page that was reloaded without one isn't told either), and a pause shouldn't wait for long: so it is tried anew.
  addEventListener("online", flushSoon);
  document.addEventListener("visibilitychange", flushSoon);
  setInterval(() => {
    if (queuedActions.value.length > 0 && sending === null && signedIn.value !== "no") flushSoon();
  }, 3_000);
  await loadStoredActions();
  await sendOnce();
}

/** The worker beside this page has kept or sent something that was asked on a notice or here. */
export const sendQueuedActions = () => void sendOnce();

export type ActionOutcome = "done" | "queued" | "refused";

const newId = () => crypto.randomUUID?.() ?? randomId(); // randomUUID exists only over HTTPS
function randomId(): string {
  return [...crypto.getRandomValues(new Uint8Array(16))].map((octet) => octet.toString(16).padStart(2, "0")).join("");
}

export function performOnFeeder(
  feeder: FeederView,
  asked: Pick<FeederAction, "kind" | "path" | "text"> & { readonly body: (id: string, at: string) => unknown },
): Promise<ActionOutcome> {
  const id = newId();
  return storeAndSend({
    id,
    kind: asked.kind,
    feeder: feeder.id,
    feederName: feeder.name,
    path: asked.path,
    text: asked.text,
    body: asked.body(id, new Date(serverNow()).toISOString()),
    requestedAt: Date.now(),
  });
}

/** Pauses or resumes all feeders of a yard until somebody says otherwise. */
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
    text: `${order} all feeders`,
    body: { id, kind: order, until: null },
    requestedAt: Date.now(),
  });
}

async function storeAndSend(newest: QueuedAction): Promise<ActionOutcome> {
  const { id } = newest;
  for (const old of supersededBy(newest, queuedActions.value)) await removeAction(old);
  await store?.put(queuedActionKey(id), newest); // first of all: what isn't in the cupboard is taken for sent elsewhere
  if (!queuedActions.value.some((each) => each.id === id)) queuedActions.value = [...queuedActions.value, newest];
  await sendOnce();
  if (queuedActions.value.some((each) => each.id === id)) {
    await requestSync(); // the page may be put away before the line is back
    announce(`${targetName(newest)}: ${newest.text}, waiting for a connection.`);
    return "queued";
  }
  return failedActions.value.some((each) => each.id === id) ? "refused" : "done";
}

let sending: Promise<void> | null = null;
let sendAgain = false;

/** Sends what waits, the oldest first. One at a time: two flushes at once would only send things twice. */
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
      sending = null; // in the same breath as the last look at `again`, or a flush asked for in between were lost
    }
  })();
  return sending;
}

async function sendAll(): Promise<void> {
  await loadStoredActions();
  const { live, expired } = splitExpired(queuedActions.value, Date.now());
  for (const act of expired) {
    if (await isSentElsewhere(act)) continue;
    await reportFailure(
      act,
      `${targetName(act)}: “${act.text}” could not be sent in time and was let go. Nothing has changed.`,
    );
  }
  for (const act of live) {
    if (await isSentElsewhere(act)) continue;
    const askedAt = serverNow();
    const answer = await api.sendAction(act.path, act.body);
    updateConnectionState(answer);
    const status = answer.kind === "problem" ? answer.problem.status : 0;
    switch (deliveryDecision(answer.kind, status)) {
      case "done":
        await removeAction(act);
        if (answer.kind === "ok") acceptResult(act, answer.value, askedAt);
        break;
      case "drop":
        await reportFailure(
          act,
          `${targetName(act)}: “${act.text}” was not accepted. ${answer.kind === "problem" ? answer.problem.detail : ""}`,
        );
        break;
      case "keep":
        return; // whatever stands in the way stands in the way of the rest too
    }
    if (signedIn.value === "no") return;
  }
  if (store !== null) await sendDisplayReceipts(store, Date.now());
}

function acceptResult(act: QueuedAction, view: ActionView, askedAt: number): void {
  const isYards = "skippedFeeders" in view;
  acceptFeeders(isYards ? view.feeders : [view], askedAt);
  const missed = isYards && "yard" in act ? view.skippedFeeders.filter((id) => act.feeders.includes(id)) : [];
  if (missed.length === 0) return;
  const names = missed.map((id) => findFeeder(id)?.feeder.name ?? id).join(", ");
  const words = `${targetName(act)}: “${act.text}” left out ${names}, on the bench or put away by now.`;
  failedActions.value = [...failedActions.value, { id: `${act.id} left out`, words }];
  announce(words);
}

/** What was answered on a notice while this page was away, or is kept from an earlier opening, waits here too. */
async function loadStoredActions(): Promise<void> {
  if (store === null) return;
  const known = new Set(queuedActions.value.map(({ id }) => id));
  const others = (await storedActions(store)).filter(({ id }) => !known.has(id));
  if (others.length > 0) queuedActions.value = [...others, ...queuedActions.value];
}

/** Another window of the same browser may have sent it meanwhile: then it is gone from the phone, and no loss. */
async function isSentElsewhere(act: QueuedAction): Promise<boolean> {
  if (store === null || (await store.get(queuedActionKey(act.id))) !== undefined) return false;
  await removeAction(act);
  void refreshHome(); // what came of it is known there, and that there is a line again
  return true;
}

async function reportFailure(act: QueuedAction, words: string): Promise<void> {
  failedActions.value = [...failedActions.value, { id: act.id, words }];
  announce(words);
  await removeAction(act);
}

async function removeAction(act: QueuedAction): Promise<void> {
  queuedActions.value = queuedActions.value.filter((each) => each.id !== act.id);
  await store?.remove(queuedActionKey(act.id));
  if (act.notification !== undefined) await closeNotifications(act.notification.tag); // "waits for a connection" is no longer so
}

export const cancelAction = (act: QueuedAction) => removeAction(act);

export function dismissFailure(id: string): void {
  failedActions.value = failedActions.value.filter((each) => each.id !== id);
}
