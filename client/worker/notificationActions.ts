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
import type { NotificationAction, PushNotificationData } from "./pushNotification.ts";

/** A notice as it stood on the screen when it was answered. */
interface AnsweredNotification {
  readonly title: string;
  readonly tag: string;
  readonly data: PushNotificationData;
}

/**
 * What a tap on a notice's button asks for, as an act like any that a page asks for: kept first, then sent, and let go when
 * the keeper would no longer mean it. Null where the notice doesn't say whom it is about.
 */
export function actionFrom(
  action: string,
  { title, tag, data }: AnsweredNotification,
  id: string,
  now: number,
): QueuedAction | null {
  const { feeder, fault, raisedAt, notifiedPriority, navigate } = data;
  if (feeder === null) return null;
  const { name, what } = splitTitle(title);
  const common = { id, feeder, feederName: name, requestedAt: now, notification: { title, tag, path: navigate } };
  switch (action as NotificationAction) {
    case "acknowledge":
      if (fault === null) return null;
      return {
        ...common,
        kind: "acknowledge",
        path: paths.acknowledge(feeder, fault),
        text: what === "" ? "acknowledge" : `acknowledge ${what}`,
        body: {
          id,
          ...(raisedAt === null ? {} : { raisedAt }),
          ...(notifiedPriority === null ? {} : { calledAs: notifiedPriority }),
        },
      };
    case "pause":
      return {
        ...common,
        kind: "pause",
        path: paths.orders(feeder),
        text: "pause until resumed",
        body: { id, kind: "pause", until: null },
      };
  }
  return null; // a button that this worker didn't make
}

/** "Larch: tray jammed" is a name and what is wrong there. */
function splitTitle(title: string) {
  const at = title.indexOf(": ");
  return at < 0 ? { name: title, what: "" } : { name: title.slice(0, at), what: title.slice(at + 2) };
}

/** Keeps the act with the others, in place of those that it makes pointless. */
export async function storeAction(cupboard: LocalStore, act: QueuedAction): Promise<void> {
  await cupboard.put(queuedActionKey(act.id), act);
  for (const old of supersededBy(act, await storedActions(cupboard))) await cupboard.remove(queuedActionKey(old.id));
}

/** How far an act has come, for the notice that takes the answered one's place. */
export type ActionProgress =
  | { readonly kind: "done" }
  | { readonly kind: "pending" }
  | { readonly kind: "signedOut" }
  | { readonly kind: "refused"; readonly text: string }
  | { readonly kind: "expired" }
  | { readonly kind: "raisedAgain" }
  /** An open page has sent it, and tells there what came of it. */
  | { readonly kind: "sentByPage" };

/** An act that was met while sending, and how far it came. */
export interface SentAction {
  readonly action: QueuedAction;
  readonly progress: ActionProgress;
}

/** Whether nothing more will become of it. */
export const isFinal = ({ kind }: ActionProgress) => kind !== "pending" && kind !== "signedOut";

/**
 * Sends what waits, the oldest first, and says of each act how far it came. Stops at the first that can't get through:
 * whatever stands in its way stands in the way of the rest too. What a page asked for and what came to nothing is left for
 * that page to find and to tell.
 */
export async function sendStoredActions(
  cupboard: LocalStore,
  now: number,
  post: (path: string, body: unknown) => Promise<ApiResult<ActionView>> = api.sendAction,
): Promise<readonly SentAction[]> {
  const met: SentAction[] = [];
  const settle = async (act: QueuedAction, progress: ActionProgress) => {
    met.push({ action: act, progress });
    const isForPage = act.notification === undefined && progress.kind !== "done";
    if (isFinal(progress) && !isForPage) await cupboard.remove(queuedActionKey(act.id));
  };
  const { live, expired } = splitExpired(await storedActions(cupboard), now);
  for (const act of expired) await settle(act, { kind: "expired" });
  let inTheWay: ActionProgress | null = null;
  for (const act of live) {
    const progress: ActionProgress = inTheWay ?? actionProgress(act, await post(act.path, act.body));
    await settle(act, progress);
    if (!isFinal(progress)) inTheWay = progress;
  }
  return met;
}

function actionProgress(act: QueuedAction, answer: ApiResult<ActionView>): ActionProgress {
  switch (deliveryDecision(answer.kind, answer.kind === "problem" ? answer.problem.status : 0)) {
    case "done":
      return { kind: answer.kind === "ok" && isRaisedAgain(act, answer.value) ? "raisedAgain" : "done" };
    case "keep":
      return { kind: answer.kind === "signedOut" ? "signedOut" : "pending" };
    case "drop":
      return { kind: "refused", text: answer.kind === "problem" ? answer.problem.detail : "" };
  }
}

/** The answer was meant for an earlier raise: the server took it for that one, and the alarm waits for another. */
const isRaisedAgain = (act: QueuedAction, view: ActionView) =>
  act.kind === "acknowledge" &&
  "alarms" in view &&
  view.alarms.some(({ fault, state }) => state === "unacknowledged" && paths.acknowledge(view.id, fault) === act.path);

/** What the keeper reads in the answered notice's place. */
export function progressText(act: QueuedAction, progress: ActionProgress, now: number, zone: string): string {
  switch (progress.kind) {
    case "done":
      return act.kind === "pause"
        ? "Pause asked. Wait for the feeder's own word before you rely on it."
        : "Acknowledged.";
    case "pending":
      return `Waits for a connection; let go at ${momentText(new Date(expiresAt(act)).toISOString(), now, zone)} if there is none.`;
    case "signedOut":
      return "Could not: sign in first. Open Pieward, and it is sent then.";
    case "refused":
      return `Could not: ${progress.text === "" ? "the server did not accept it." : progress.text}`;
    case "sentByPage":
      return "Sent. Pieward stands open and says there what came of it.";
    case "raisedAgain":
      return "Too late: it has come again or grown worse since. Look at it anew.";
    case "expired":
      return "Too late: it could not be sent in time and was let go. Nothing has changed.";
  }
}
