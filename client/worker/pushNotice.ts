import type { PushPayload } from "../../server/contract/api.ts";

/** What is shown for a push. A browser that lets a push pass unseen takes the right to push away, so there is always one. */
export interface PushNotice {
  readonly title: string;
  readonly options: {
    readonly body: string;
    readonly tag: string;
    readonly silent: boolean;
    readonly lang: string;
    readonly icon: string;
    readonly badge: string;
    readonly requireInteraction: boolean;
    readonly renotify: boolean;
    readonly data: { readonly navigate: string };
  };
}

export function noticeFrom(text: string | null, origin: string): PushNotice {
  const said = read(text);
  if (said === null) return notice("Pieward", "Open to see what your feeder says.", "pieward", false, "/", false);
  const urgent = said.data?.priority === "urgent";
  return notice(
    said.title,
    typeof said.body === "string" ? said.body : "",
    typeof said.tag === "string" && said.tag !== "" ? said.tag : "pieward",
    said.silent === true,
    ownPath(said.navigate, origin),
    urgent,
  );
}

function notice(
  title: string,
  body: string,
  tag: string,
  silent: boolean,
  navigate: string,
  urgent: boolean,
): PushNotice {
  return {
    title,
    options: {
      body,
      tag,
      silent,
      lang: "en",
      icon: "/icon-192.png",
      badge: "/badge-96.png",
      requireInteraction: urgent,
      renotify: !silent, // the same tag replaces the old notice; only a quiet one does so without a sound
      data: { navigate },
    },
  };
}

type Said = Partial<PushPayload["notification"]> & { readonly title: string };

function read(text: string | null): Said | null {
  if (text === null) return null;
  try {
    const payload = JSON.parse(text) as { notification?: Partial<PushPayload["notification"]> } | null;
    const said = payload?.notification;
    return typeof said?.title === "string" && said.title !== "" ? (said as Said) : null;
  } catch {
    return null; // not JSON: the plain notice is shown instead
  }
}

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
