import type { PushPayload } from "../../server/contract/api.ts";

/** What is shown for a push. A browser that lets a push pass unseen takes the right to push away, so there is always one. */
export interface PushNotification {
  readonly title: string;
  readonly options: PushNotificationOptions;
  /** What stands with this tag is taken away first: it asks for nothing any more. */
  readonly isClosing: boolean;
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
  readonly actions: readonly { readonly action: NotificationAction; readonly title: string }[];
  readonly data: PushNotificationData;
}

/** What the notice carries along, so that it can be answered, reported as shown and judged stale later. */
export interface PushNotificationData {
  readonly navigate: string;
  readonly item: string | null;
  readonly feeder: string | null;
  readonly fault: string | null;
  readonly raisedAt: string | null; // ISO 8601
  readonly notifiedPriority: "urgent" | "soon" | null;
}

export type NotificationAction = PushPayload["notification"]["data"]["actions"][number];

const actionText: Readonly<Record<NotificationAction, string>> = {
  acknowledge: "Acknowledge",
  pause: "Pause the feeder",
};

/**
 * @param text the push's own text; null where there was none, or none that could be read
 * @param proposed what a browser that knows the declarative form would show by itself
 */
export function readPush(text: string | null, origin: string, proposed: unknown = null): PushNotification {
  const said = parsePayload(text) ?? withTitle(proposed);
  if (said === null) return defaultNotification;
  const { item, feeder, fault, raisedAt, actions: answers, priority, isClosing: closes } = (said.data ?? {}) as Partial<PayloadData>;
  const silent = said.silent === true || closes === true;
  const data: PushNotificationData = {
    navigate: ownPath(said.navigate, origin),
    item: textOrNull(item),
    feeder: textOrNull(feeder),
    fault: textOrNull(fault),
    raisedAt: textOrNull(raisedAt),
    notifiedPriority: priority === "urgent" || priority === "soon" ? priority : null,
  };
  return {
    title: said.title,
    isClosing: closes === true,
    options: {
      ...defaultOptions,
      body: typeof said.body === "string" ? said.body : "",
      tag: typeof said.tag === "string" && said.tag !== "" ? said.tag : defaultOptions.tag,
      silent,
      requireInteraction: priority === "urgent" && closes !== true,
      renotify: !silent, // the same tag replaces the old notice; only a quiet one does so without a sound
      actions: closes === true ? [] : actionsFor(answers, data),
      data,
    },
  };
}

/** The same notice once more, as a push service may hand it on twice: it stays, and makes no second sound. */
export const silentRepeat = ({ options, ...notice }: PushNotification): PushNotification => ({
  ...notice,
  options: { ...options, silent: true, renotify: false },
});

const defaultOptions: PushNotificationOptions = {
  body: "",
  tag: "pieward",
  silent: false,
  lang: "en",
  icon: "/icon-192.png",
  badge: "/badge-96.png",
  requireInteraction: false,
  renotify: true,
  actions: [],
  data: { navigate: "/", item: null, feeder: null, fault: null, raisedAt: null, notifiedPriority: null },
};

const defaultNotification: PushNotification = {
  title: "Pieward",
  isClosing: false,
  options: { ...defaultOptions, body: "Open to see what your feeder says." },
};

/** A word in a notice's place that asks for nothing: what became of an answer. */
export const silentNotification = (title: string, body: string, tag: string, navigate: string): PushNotification => ({
  title,
  isClosing: false,
  options: { ...defaultOptions, body, tag, silent: true, renotify: false, data: { ...defaultOptions.data, navigate } },
});

/** Only what we could carry out: a newer server may offer more than this worker knows. */
function actionsFor(answers: unknown, { feeder, fault }: PushNotificationData): PushNotificationOptions["actions"] {
  if (!Array.isArray(answers) || feeder === null) return [];
  return (Object.keys(actionText) as NotificationAction[])
    .filter((action) => answers.includes(action) && (action !== "acknowledge" || fault !== null))
    .map((action) => ({ action, title: actionText[action] }));
}

type PayloadData = PushPayload["notification"]["data"];
type PayloadNotification = Partial<PushPayload["notification"]> & { readonly title: string };

function parsePayload(text: string | null): PayloadNotification | null {
  if (text === null) return null;
  try {
    return withTitle((JSON.parse(text) as { notification?: unknown } | null)?.notification);
  } catch {
    return null; // not JSON: the plain notice is shown instead
  }
}

function withTitle(said: unknown): PayloadNotification | null {
  const title = (said as Partial<PayloadNotification> | null | undefined)?.title;
  return typeof title === "string" && title !== "" ? (said as PayloadNotification) : null;
}

const textOrNull = (said: unknown): string | null => (typeof said === "string" && said !== "" ? said : null);

/** A notice may only lead to our own pages. */
export function ownPath(navigate: unknown, origin: string): string {
  if (typeof navigate !== "string") return "/";
  try {
    const url = new URL(navigate, origin);
    return url.origin === origin ? url.pathname + url.search : "/";
  } catch {
    return "/";
  }
}
