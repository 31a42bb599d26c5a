import * as text from "#text/notifications.ts";
import { type ActionView, type ApiResult, api, paths } from "../api/api.ts";
import {
  deliveryDecision,
  expiresAt,
  type QueuedAction,
  queuedActionKey,
  splitExpired,
  storedActions,
  supersededBy,
} from "../offline/actionQueue.ts";
import type { LocalStore } from "../offline/localStore.ts";
import { momentText } from "../text/clock.ts";
import type { PushAction, PushNotificationData } from "./pushNotification.ts";

/** A notification as it was shown when its button was tapped. */
interface AnsweredNotification {
  readonly title: string;
  readonly tag: string;
  readonly data: PushNotificationData;
}

/**
 * The action of a tap on a notification's button, as a page would request it: stored first, then sent, and discarded when the
 * keeper would no longer want it. Null where the notification names no feeder.
 */
export function actionFrom(
  action: string,
  { title, tag, data }: AnsweredNotification,
  id: string,
  now: number,
): QueuedAction | null {
  const { feeder, fault, raisedAt, notifiedPriority, navigate } = data;
  if (feeder === null) return null;
  const { name, alarm } = splitTitle(title);
  const common = { id, feeder, feederName: name, requestedAt: now, notification: { title, tag, path: navigate } };
  switch (action as PushAction) {
    case "acknowledge":
      if (fault === null) return null;
      return {
        ...common,
        kind: "acknowledge",
        path: paths.acknowledge(feeder, fault),
        text: alarm === "" ? text.acknowledgeAction : text.acknowledgeAlarmAction(alarm),
        body: {
          id,
          ...(raisedAt === null ? {} : { raisedAt }),
          ...(notifiedPriority === null ? {} : { notifiedPriority }),
        },
      };
    case "pause":
      return {
        ...common,
        kind: "pause",
        path: paths.orders(feeder),
        text: text.pauseAction,
        body: { id, kind: "pause", until: null },
      };
  }
  return null; // a button of another worker's version
}

/** "Larch: tray jammed" is a feeder and an alarm. */
function splitTitle(title: string) {
  const at = title.indexOf(": ");
  return at < 0 ? { name: title, alarm: "" } : { name: title.slice(0, at), alarm: title.slice(at + 2) };
}

/** Stores the action, in place of those that it supersedes. */
export async function storeAction(store: LocalStore, action: QueuedAction): Promise<void> {
  await store.put(queuedActionKey(action.id), action);
  for (const old of supersededBy(action, await storedActions(store))) await store.remove(queuedActionKey(old.id));
}

/** How far an action has come, for the notification that replaces the tapped one. */
export type ActionProgress =
  | { readonly kind: "done" }
  | { readonly kind: "pending" }
  | { readonly kind: "signedOut" }
  | { readonly kind: "refused"; readonly text: string }
  | { readonly kind: "expired" }
  | { readonly kind: "raisedAgain" }
  /** An open page has sent it, and shows the result. */
  | { readonly kind: "sentByPage" };

/** An action of the queue after sending, and how far it came. */
export interface SentAction {
  readonly action: QueuedAction;
  readonly progress: ActionProgress;
}

/** Whether this progress is the last. */
export const isFinal = ({ kind }: ActionProgress) => kind !== "pending" && kind !== "signedOut";

/**
 * Sends the queue, the oldest action first, and returns how far each came. Stops at the first that can't be sent: what stops it
 * stops the others too. A page's action that failed is left in the store, for the page to report.
 */
export async function sendStoredActions(
  store: LocalStore,
  now: number,
  post: (path: string, body: unknown) => Promise<ApiResult<ActionView>> = api.sendAction,
): Promise<readonly SentAction[]> {
  const sent: SentAction[] = [];
  const settle = async (action: QueuedAction, progress: ActionProgress) => {
    sent.push({ action, progress });
    const isForPage = action.notification === undefined && progress.kind !== "done";
    if (isFinal(progress) && !isForPage) await store.remove(queuedActionKey(action.id));
  };
  const { live, expired } = splitExpired(await storedActions(store), now);
  for (const action of expired) await settle(action, { kind: "expired" });
  let obstacle: ActionProgress | null = null;
  for (const action of live) {
    const progress: ActionProgress = obstacle ?? actionProgress(action, await post(action.path, action.body));
    await settle(action, progress);
    if (!isFinal(progress)) obstacle = progress;
  }
  return sent;
}

function actionProgress(action: QueuedAction, result: ApiResult<ActionView>): ActionProgress {
  switch (deliveryDecision(result.kind, result.kind === "problem" ? result.problem.status : 0)) {
    case "done":
      return { kind: result.kind === "ok" && isRaisedAgain(action, result.value) ? "raisedAgain" : "done" };
    case "keep":
      return { kind: result.kind === "signedOut" ? "signedOut" : "pending" };
    case "drop":
      return { kind: "refused", text: result.kind === "problem" ? result.problem.detail : "" };
  }
}

/** It acknowledged an earlier occurrence, and the alarm was raised again since. */
const isRaisedAgain = (action: QueuedAction, view: ActionView) =>
  action.kind === "acknowledge" &&
  "alarms" in view &&
  view.alarms.some(
    ({ fault, state }) => state === "unacknowledged" && paths.acknowledge(view.id, fault) === action.path,
  );

/** What the keeper reads in place of the tapped notification. */
export function progressText(action: QueuedAction, progress: ActionProgress, now: number, zone: string): string {
  switch (progress.kind) {
    case "done":
      return action.kind === "pause" ? text.pauseRequestedText : text.acknowledgedText;
    case "pending":
      return text.notSentText(momentText(new Date(expiresAt(action)).toISOString(), now, zone));
    case "signedOut":
      return text.signedOutText;
    case "refused":
      return text.refusedText(progress.text === "" ? text.noReasonText : progress.text);
    case "sentByPage":
      return text.sentByPageText;
    case "raisedAgain":
      return text.raisedAgainText;
    case "expired":
      return text.expiredText;
  }
}
