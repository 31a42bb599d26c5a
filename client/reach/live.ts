import type { LiveMessage } from "../../server/contract/api.ts";

/** Waits before the next try to connect: doubles from one second to one minute, less a share so that phones spread out. */
export function nextTryMs(failures: number, chance: number): number {
  const full = Math.min(60_000, 1_000 * 2 ** Math.min(failures, 6));
  return Math.round(full * (1 - chance / 2));
}

export interface LiveEars {
  readonly heard: (message: LiveMessage) => void;
  /** The socket is open, again or for the first time: whatever happened in between was missed. */
  readonly opened: () => void;
  readonly closed: () => void;
}

/** Listens to the server until told to stop. What comes are hints of change only; the state itself is fetched. */
export function listen(ears: LiveEars): () => void {
  let socket: WebSocket | null = null;
  let failures = 0;
  let retry: ReturnType<typeof setTimeout> | undefined;
  let stopped = false;

  const connect = () => {
    clearTimeout(retry);
    if (stopped || socket !== null) return;
    const opened = new WebSocket(`${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/api/v1/live`);
    socket = opened;
    opened.onopen = () => {
      failures = 0;
      ears.opened();
    };
    opened.onmessage = (event: MessageEvent<unknown>) => {
      const message = readMessage(event.data);
      if (message !== null) ears.heard(message);
    };
    opened.onclose = () => {
      if (socket !== opened) return;
      socket = null;
      ears.closed();
      if (stopped) return;
      retry = setTimeout(connect, nextTryMs(failures, Math.random()));
      failures += 1;
    };
  };

  const atOnce = () => {
    if (document.visibilityState === "hidden") return;
    failures = 0;
    connect();
  };
  // A socket from before the net went away may look open for minutes while nothing comes through it any more.
  const afresh = () => {
    const stale = socket;
    socket = null;
    stale?.close();
    atOnce();
  };
  // A phone that wakes, or finds the net again, should not sit out a backoff of a minute.
  addEventListener("online", afresh);
  document.addEventListener("visibilitychange", atOnce);
  connect();

  return () => {
    stopped = true;
    clearTimeout(retry);
    removeEventListener("online", afresh);
    document.removeEventListener("visibilitychange", atOnce);
    const open = socket;
    socket = null;
    open?.close();
  };
}

function readMessage(data: unknown): LiveMessage | null {
  if (typeof data !== "string") return null;
  try {
    const message = JSON.parse(data) as Partial<LiveMessage> | null;
    if (message?.kind !== "changed") return null; // a newer server may say more than we know
    return { kind: "changed", feeder: message.feeder ?? null, revision: message.revision ?? null };
  } catch {
    return null;
  }
}
