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
 */
// eslint-disable-next-line max-lines-per-function -- its parts share the socket, the retry timer and the count of failures
export function openLiveConnection(handlers: LiveHandlers): LiveConnection {
  let current: WatchedSocket | null = null;
  let failures = 0;
  let retry: ReturnType<typeof setTimeout> | undefined;
  let ended = false;

  const connect = () => {
    clearTimeout(retry);
    if (ended || current !== null) return;
    const opened = watchSocket(openSocket(), {
      onOpen() {
        if (current !== opened) return;
        failures = 0;
        handlers.onOpen();
      },
      onMessage(message) {
        if (current === opened && message.kind !== "pong") handlers.onMessage(message);
      },
      onClose: () => lose(opened, handlers.onClose),
      onTimeout: () => lose(opened, handlers.onTimeout),
    });
    current = opened;
  };
  const lose = (lost: WatchedSocket, report: () => void) => {
    if (current !== lost) return;
    drop();
    clearTimeout(retry);
    retry = setTimeout(connect, retryDelayMs(failures, Math.random(), isHidden() ? hiddenRetryMaxMs : retryMaxMs));
    failures += 1;
    report();
  };
  const drop = () => {
    const dropped = current;
    current = null;
    dropped?.close();
  };
  const connectNow = () => {
    failures = 0;
    connect();
  };
  const checkIfVisible = () => {
    if (isHidden()) return;
    if (current === null) connectNow();
    else current.ping();
  };
  // A socket from before the network was lost may seem open for minutes while nothing comes through it.
  const replaceSocket = () => {
    drop();
    if (!isHidden()) connectNow();
  };
  addEventListener("online", replaceSocket);
  document.addEventListener("visibilitychange", checkIfVisible);
  connect();

  return {
    connectNow,
    end() {
      ended = true;
      drop();
      clearTimeout(retry);
      removeEventListener("online", replaceSocket);
      document.removeEventListener("visibilitychange", checkIfVisible);
    },
  };
}

const isHidden = () => document.visibilityState === "hidden";
const openSocket = () =>
  new WebSocket(`${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/api/v1/live`);

interface WatchedSocket {
  /** Asks for a sign of life now; without effect while the socket is not open. */
  ping(): void;
  close(): void;
}

/** Reports what comes through the socket, and a timeout where a ping gets no reply. A hidden page sends no ping. */
function watchSocket(
  socket: WebSocket,
  handlers: {
    readonly onOpen: () => void;
    readonly onMessage: (message: LiveMessage) => void;
    readonly onClose: () => void;
    readonly onTimeout: () => void;
  },
): WatchedSocket {
  let silence = setTimeout(handlers.onTimeout, pingAfterMs);
  const after = (ms: number, act: () => void) => {
    clearTimeout(silence);
    silence = setTimeout(act, ms);
  };
  const ping = () => {
    if (socket.readyState !== socketOpen) return;
    socket.send('{"kind":"ping"}');
    after(pongTimeoutMs, handlers.onTimeout);
  };
  const pingIfVisible = () => {
    if (!isHidden()) ping();
  };
  socket.onopen = () => {
    after(pingAfterMs, pingIfVisible);
    handlers.onOpen();
  };
  socket.onmessage = (event: MessageEvent<unknown>) => {
    after(pingAfterMs, pingIfVisible);
    const message = readMessage(event.data);
    if (message !== null) handlers.onMessage(message);
  };
  socket.onclose = handlers.onClose;
  const close = () => {
    clearTimeout(silence);
    socket.onopen = socket.onmessage = socket.onclose = null;
    socket.close();
  };
  return { ping, close };
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
        return null; // sent by a newer server
    }
  } catch {
    return null;
  }
}
