import { languageTag } from "#text/language.ts";
import * as text from "#text/notifications.ts";
import type { PushPayload } from "../../server/contract/api.ts";

/** What is shown for a push. A browser removes the permission after a push without a notification, so there is always one. */
export interface PushNotification {
  readonly title: string;
  readonly options: PushNotificationOptions;
  /** Notifications with this tag are closed first: they need no action any more. */
  readonly isClosing: boolean;
  /** Path of a picture, fetched once the notification is on the screen; left out: none. */
  readonly image?: string;
}

export interface PushNotificationOptions {
  readonly body: string;
  readonly tag: string;
  readonly silent: boolean;
  readonly lang: string;
  readonly icon: string;
  readonly badge: string;
  readonly requireInteraction: boolean;
  readonly renotify: boolean;
  readonly actions: readonly { readonly action: PushAction; readonly title: string }[];
  readonly data: PushNotificationData;
}

/** For its buttons, its display receipt, and to find out later whether it is stale. */
export interface PushNotificationData {
  readonly navigate: string;
  readonly item: string | null;
  readonly feeder: string | null;
  readonly fault: string | null;
  readonly raisedAt: string | null; // ISO 8601
  readonly notifiedPriority: "urgent" | "soon" | null;
}

export type PushAction = PushPayload["notification"]["data"]["actions"][number];

const actionText: Readonly<Record<PushAction, string>> = {
  acknowledge: text.acknowledgeLabel,
  pause: text.pauseLabel,
};

/**
 * @param payload the push's own text; null where there was none, or none that could be read
 * @param proposed what a browser that knows the declarative form would show by itself
 */
export function readPush(payload: string | null, origin: string, proposed: unknown = null): PushNotification {
  const shown = parsePayload(payload) ?? withTitle(proposed);
  if (shown === null) return defaultNotification;
  const payloadData = (shown.data ?? {}) as Partial<PayloadData>;
  const data = readData(payloadData, ownPath(shown.navigate, origin));
  const isClosing = payloadData.isClosing === true;
  const silent = shown.silent === true || isClosing;
  return {
    title: shown.title,
    isClosing,
    ...(isClosing ? {} : imageFrom(payloadData.image, origin)),
    options: {
      ...defaultOptions,
      body: typeof shown.body === "string" ? shown.body : "",
      tag: typeof shown.tag === "string" && shown.tag !== "" ? shown.tag : defaultOptions.tag,
      silent,
      requireInteraction: data.notifiedPriority === "urgent" && !isClosing,
      renotify: !silent, // the same tag replaces the old notification; only a silent one does so without a sound
      actions: isClosing ? [] : actionsFor(payloadData.actions, data),
      data,
    },
  };
}

const readData = (
  { item, feeder, fault, raisedAt, priority }: Partial<PayloadData>,
  navigate: string,
): PushNotificationData => ({
  navigate,
  item: textOrNull(item),
  feeder: textOrNull(feeder),
  fault: textOrNull(fault),
  raisedAt: textOrNull(raisedAt),
  notifiedPriority: priority === "urgent" || priority === "soon" ? priority : null,
});

/** The same notification again, as a push service may deliver it twice: it stays, without a second sound. */
export const silentRepeat = ({ options, ...notification }: PushNotification): PushNotification => ({
  ...notification,
  options: { ...options, silent: true, renotify: false },
});

const defaultOptions: PushNotificationOptions = {
  body: "",
  tag: "pieward",
  silent: false,
  lang: languageTag,
  icon: "/icon-192.png",
  badge: "/badge-96.png",
  requireInteraction: false,
  renotify: true,
  actions: [],
  data: { navigate: "/", item: null, feeder: null, fault: null, raisedAt: null, notifiedPriority: null },
};

const defaultNotification: PushNotification = {
  title: text.defaultTitle,
  isClosing: false,
  options: { ...defaultOptions, body: text.defaultText },
};

/** Replaces a notification and needs no action: the result of its button. */
export const silentNotification = (title: string, body: string, tag: string, navigate: string): PushNotification => ({
  title,
  isClosing: false,
  options: { ...defaultOptions, body, tag, silent: true, renotify: false, data: { ...defaultOptions.data, navigate } },
});

/** Only the actions that this worker knows: a newer server may offer more. */
function actionsFor(offered: unknown, { feeder, fault }: PushNotificationData): PushNotificationOptions["actions"] {
  if (!Array.isArray(offered) || feeder === null) return [];
  return (Object.keys(actionText) as PushAction[])
    .filter((action) => offered.includes(action) && (action !== "acknowledge" || fault !== null))
    .map((action) => ({ action, title: actionText[action] }));
}

type PayloadData = PushPayload["notification"]["data"];
type PayloadNotification = Partial<PushPayload["notification"]> & { readonly title: string };

function parsePayload(payload: string | null): PayloadNotification | null {
  if (payload === null) return null;
  try {
    return withTitle((JSON.parse(payload) as { notification?: unknown } | null)?.notification);
  } catch {
    return null; // not JSON: the default notification is shown instead
  }
}

function withTitle(value: unknown): PayloadNotification | null {
  const title = (value as Partial<PayloadNotification> | null | undefined)?.title;
  return typeof title === "string" && title !== "" ? (value as PayloadNotification) : null;
}

const textOrNull = (value: unknown): string | null => (typeof value === "string" && value !== "" ? value : null);

/** Only a still of our own server. */
function imageFrom(image: unknown, origin: string): Pick<PushNotification, "image"> {
  const path = ownPath(image, origin);
  return /^\/api\/v1\/yards\/[^/?]+\/stills\/[^/?]+\/picture\?size=small$/.test(path) ? { image: path } : {};
}

/** A notification may only open our own pages. */
export function ownPath(navigate: unknown, origin: string): string {
  if (typeof navigate !== "string") return "/";
  try {
    const url = new URL(navigate, origin);
    return url.origin === origin ? url.pathname + url.search : "/";
  } catch {
    return "/";
  }
}
