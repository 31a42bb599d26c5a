import type { PushPayload } from "../../server/contract/api.ts";

/** What is shown for a push. A browser that lets a push pass unseen takes the right to push away, so there is always one. */
export interface PushNotice {
  readonly title: string;
  readonly options: NoticeOptions;
  /** What stands with this tag is taken away first: it asks for nothing any more. */
  readonly closes: boolean;
}

export interface NoticeOptions {
  readonly body: string;
  readonly tag: string;
  readonly silent: boolean;
  readonly lang: string;
  readonly icon: string;
  readonly badge: string;
  readonly requireInteraction: boolean;
  readonly renotify: boolean;
  readonly actions: readonly { readonly action: NoticeAnswer; readonly title: string }[];
  readonly data: NoticeData;
}

/** What the notice carries along, so that it can be answered, reported as shown and judged stale later. */
export interface NoticeData {
  readonly navigate: string;
  readonly item: string | null;
  readonly feeder: string | null;
  readonly fault: string | null;
  readonly raisedAt: string | null; // ISO 8601
  readonly calledAs: "urgent" | "soon" | null;
}

export type NoticeAnswer = PushPayload["notification"]["data"]["answers"][number];

const answerWords: Readonly<Record<NoticeAnswer, string>> = {
  acknowledge: "Acknowledge",
  pause: "Pause the feeder",
};

/**
 * @param text the push's own text; null where there was none, or none that could be read
 * @param proposed what a browser that knows the declarative form would show by itself
 */
export function noticeFrom(text: string | null, origin: string, proposed: unknown = null): PushNotice {
  const said = read(text) ?? titled(proposed);
  if (said === null) return plain;
  const { item, feeder, fault, raisedAt, answers, priority, closes } = (said.data ?? {}) as Partial<SaidData>;
  const silent = said.silent === true || closes === true;
  const data: NoticeData = {
    navigate: ownPath(said.navigate, origin),
    item: textOrNull(item),
    feeder: textOrNull(feeder),
    fault: textOrNull(fault),
    raisedAt: textOrNull(raisedAt),
    calledAs: priority === "urgent" || priority === "soon" ? priority : null,
  };
  return {
    title: said.title,
    closes: closes === true,
    options: {
      ...looks,
      body: typeof said.body === "string" ? said.body : "",
      tag: typeof said.tag === "string" && said.tag !== "" ? said.tag : looks.tag,
      silent,
      requireInteraction: priority === "urgent" && closes !== true,
      renotify: !silent, // the same tag replaces the old notice; only a quiet one does so without a sound
      actions: closes === true ? [] : actionsFor(answers, data),
      data,
    },
  };
}

/** The same notice once more, as a push service may hand it on twice: it stays, and makes no second sound. */
export const onceMore = ({ options, ...notice }: PushNotice): PushNotice => ({
  ...notice,
  options: { ...options, silent: true, renotify: false },
});

const looks: NoticeOptions = {
  body: "",
  tag: "pieward",
  silent: false,
  lang: "en",
  icon: "/icon-192.png",
  badge: "/badge-96.png",
  requireInteraction: false,
  renotify: true,
  actions: [],
  data: { navigate: "/", item: null, feeder: null, fault: null, raisedAt: null, calledAs: null },
};

const plain: PushNotice = {
  title: "Pieward",
  closes: false,
  options: { ...looks, body: "Open to see what your feeder says." },
};

/** A word in a notice's place that asks for nothing: what became of an answer. */
export const quietNotice = (title: string, body: string, tag: string, navigate: string): PushNotice => ({
  title,
  closes: false,
  options: { ...looks, body, tag, silent: true, renotify: false, data: { ...looks.data, navigate } },
});

/** Only what we could carry out: a newer server may offer more than this worker knows. */
function actionsFor(answers: unknown, { feeder, fault }: NoticeData): NoticeOptions["actions"] {
  if (!Array.isArray(answers) || feeder === null) return [];
  return (Object.keys(answerWords) as NoticeAnswer[])
    .filter((action) => answers.includes(action) && (action !== "acknowledge" || fault !== null))
    .map((action) => ({ action, title: answerWords[action] }));
}

type SaidData = PushPayload["notification"]["data"];
type Said = Partial<PushPayload["notification"]> & { readonly title: string };

function read(text: string | null): Said | null {
  if (text === null) return null;
  try {
    return titled((JSON.parse(text) as { notification?: unknown } | null)?.notification);
  } catch {
    return null; // not JSON: the plain notice is shown instead
  }
}

function titled(said: unknown): Said | null {
  const title = (said as Partial<Said> | null | undefined)?.title;
  return typeof title === "string" && title !== "" ? (said as Said) : null;
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
