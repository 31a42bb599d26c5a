import type { LiveMessage } from "../../server/contract/api.ts";
import { hiddenRetryMaxMs, retryDelayMs } from "./retry.ts";

/** Where HTTP works and no socket opens (a proxy may block it), each try also loads the state. */
const retryMaxMs = 30_000;

/** After this time without a message the server gets a ping, and it has this time to reply. */
const pingAfterMs = 10_000;
const pongTimeoutMs = 4_000;

const socketOpen = 1; // WebSocket.OPEN

export interface LiveHandlers {
  readonly onMessage: (message: Exclude<LiveMessage, { kind: "pong" }>) => void;
  /** The socket is open, again or for the first time: changes before it were missed. */
  readonly onOpen: () => void;
  readonly onClose: () => void;
  /** The socket seems open but nothing replies: it is not known whether the server is there. */
  readonly onTimeout: () => void;
}

export interface LiveConnection {
  /** The server was reached by another request: connects without waiting. */
  connectNow(): void;
  end(): void;
}

/**
 * Receives hints of changes from the server until it is ended; the state itself is loaded by HTTP. While the page is visible, a
 * silent connection gets a ping: one whose other end is gone seems open for minutes (RFC 6455 has pings for that, but browsers
 * don't let pages send them).
 * Long: its parts share the socket, its timers and the count of failures.
 */
export function openLiveConnection(handlers: LiveHandlers): LiveConnection {
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
      expectMessage(opened);
      handlers.onOpen();
    };
    opened.onmessage = (event: MessageEvent<unknown>) => {
      if (socket !== opened) return;
      expectMessage(opened);
      const message = readMessage(event.data);
      if (message !== null && message.kind !== "pong") handlers.onMessage(message);
    };
    opened.onclose = () => {
      if (socket !== opened) return;
      reconnectLater();
      handlers.onClose();
    };
  };

  /** Drops the socket, and tries again later. */
  const reconnectLater = () => {
    const stale = socket;
    socket = null;
    clearTimeout(silence);
    clearTimeout(retry);
    stale?.close();
    if (ended) return;
    retry = setTimeout(connect, retryDelayMs(failures, Math.random(), isHidden() ? hiddenRetryMaxMs : retryMaxMs));
    failures += 1;
  };

  const expectMessage = (of: WebSocket) => {
    clearTimeout(silence);
    silence = setTimeout(() => {
      if (!isHidden()) ping(of); // a hidden page sends none; it does once it is visible
    }, pingAfterMs);
  };
  const ping = (of: WebSocket) => {
    clearTimeout(silence);
    of.send('{"kind":"ping"}');
    silence = setTimeout(() => dropUnanswered(of), pongTimeoutMs);
  };
  const dropUnanswered = (of: WebSocket) => {
    if (socket !== of) return;
    reconnectLater();
    handlers.onTimeout();
  };

  const connectNow = () => {
    failures = 0;
    connect();
  };
  const checkIfVisible = () => {
    if (isHidden()) return;
    if (socket === null) connectNow();
    else if (socket.readyState === socketOpen) ping(socket);
  };
  // A socket from before the network was lost may seem open for minutes while nothing comes through it.
  const replaceSocket = () => {
    const stale = socket;
    socket = null;
    clearTimeout(silence);
    stale?.close();
    if (!isHidden()) connectNow();
  };
  addEventListener("online", replaceSocket);
  document.addEventListener("visibilitychange", checkIfVisible);
  connect();

  return {
    connectNow,
    end() {
      ended = true;
      reconnectLater();
      removeEventListener("online", replaceSocket);
      document.removeEventListener("visibilitychange", checkIfVisible);
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
