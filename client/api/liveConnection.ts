import type { LiveMessage } from "../../server/contract/api.ts";
import { hiddenRetryMaxMs, retryDelayMs } from "./retry.ts";

/** Where HTTP is answered and no socket opens (a proxy between may not let one through), each try is a look at the state too. */
const retryMaxMs = 30_000;

/** How long nothing may come before the server is asked whether it is there, and how long it may take to say so. */
const pingAfterMs = 10_000;
const pongTimeoutMs = 4_000;

const socketOpen = 1; // WebSocket.OPEN

export interface LiveHandlers {
  readonly onMessage: (message: Exclude<LiveMessage, { kind: "pong" }>) => void;
  /** The socket is open, again or for the first time: whatever happened in between was missed. */
  readonly onOpen: () => void;
  readonly onClose: () => void;
  /** The socket is open by name, and nobody answers on it: whether the server is there isn't known any more. */
  readonly onTimeout: () => void;
}

export interface LiveConnection {
  /** The server was reached in another way: no wait any more. */
  connectNow(): void;
  end(): void;
}

/**
 * Listens to the server until it is ended. What comes are hints of change only; the state itself is fetched. While the page is
 * looked at, a connection on which nothing comes is tried: one whose other end is gone looks open for minutes (RFC 6455 has
 * pings for that, but browsers don't let pages send them).
 */
export function openLiveConnection(ears: LiveHandlers): LiveConnection {
  let socket: WebSocket | null = null;
  let failures = 0;
  let retry: ReturnType<typeof setTimeout> | undefined;
  let silence: ReturnType<typeof setTimeout> | undefined;
  let ended = false;

  const isHidden = () => document.visibilityState === "hidden";

  const connect = () => {
    clearTimeout(retry);
    if (ended || socket !== null) return;
    const opened = new WebSocket(`${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/api/v1/live`);
    socket = opened;
    silence = setTimeout(() => dropUnanswered(opened), pingAfterMs);
    opened.onopen = () => {
      if (socket !== opened) return;
      failures = 0;
      awaitSign(opened);
      ears.onOpen();
    };
    opened.onmessage = (event: MessageEvent<unknown>) => {
      if (socket !== opened) return;
      awaitSign(opened);
      const message = readMessage(event.data);
      if (message !== null && message.kind !== "pong") ears.onMessage(message);
    };
    opened.onclose = () => {
      if (socket !== opened) return;
      letGo();
      ears.onClose();
    };
  };

  /** Forgets the socket, and tries again later. */
  const letGo = () => {
    const stale = socket;
    socket = null;
    clearTimeout(silence);
    clearTimeout(retry);
    stale?.close();
    if (ended) return;
    retry = setTimeout(connect, retryDelayMs(failures, Math.random(), isHidden() ? hiddenRetryMaxMs : retryMaxMs));
    failures += 1;
  };

  const awaitSign = (of: WebSocket) => {
    clearTimeout(silence);
    silence = setTimeout(() => {
      if (!isHidden()) ask(of); // hidden, nothing is asked: a look at the page asks
    }, pingAfterMs);
  };
  const ask = (of: WebSocket) => {
    clearTimeout(silence);
    of.send('{"kind":"ping"}');
    silence = setTimeout(() => dropUnanswered(of), pongTimeoutMs);
  };
  const dropUnanswered = (of: WebSocket) => {
    if (socket !== of) return;
    letGo();
    ears.onTimeout();
  };

  const connectNow = () => {
    failures = 0;
    connect();
  };
  const look = () => {
    if (isHidden()) return;
    if (socket === null) connectNow();
    else if (socket.readyState === socketOpen) ask(socket);
  };
  // A socket from before the net went away may look open for minutes while nothing comes through it any more.
  const afresh = () => {
    const stale = socket;
    socket = null;
    clearTimeout(silence);
    stale?.close();
    if (!isHidden()) connectNow();
  };
  addEventListener("online", afresh);
  document.addEventListener("visibilitychange", look);
  connect();

  return {
    connectNow,
    end() {
      ended = true;
      letGo();
      removeEventListener("online", afresh);
      document.removeEventListener("visibilitychange", look);
    },
  };
}

function readMessage(data: unknown): LiveMessage | null {
  if (typeof data !== "string") return null;
  try {
    const message = JSON.parse(data) as Partial<Extract<LiveMessage, { kind: "changed" }>> | { kind: string } | null;
    switch (message?.kind) {
      case "changed": {
        const { feeder = null, revision = null } = message as Partial<Extract<LiveMessage, { kind: "changed" }>>;
        return { kind: "changed", feeder, revision };
      }
      case "phones":
      case "pong":
        return { kind: message.kind };
      default:
        return null; // a newer server may say more than we know
    }
  } catch {
    return null;
  }
}
