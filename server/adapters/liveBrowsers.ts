import type { WebSocket } from "ws";
import type { LiveMessage } from "../contract/api.ts";
import type { LiveFeed } from "../ports.ts";

/** Whose browser it is, by which sign-in, and of which yards it is sent changes. */
export interface BrowserSession {
  readonly person: string;
  readonly session: string;
  readonly yards: ReadonlySet<string>;
}

export interface LiveBrowsers extends LiveFeed {
  /** Why this session may not open one more; null: it may. */
  refusal(session: string): string | null;
  /** Closes the socket at once where the session may not have it. */
  attach(socket: WebSocket, watching: BrowserSession): void;
  closeAll(): void;
}

/** A browser with so much unsent data should reconnect and load again; a longer queue doesn't help it. */
const unsentBytesMax = 64 * 1024;

/** Open pages of one browser. Our choice: nobody needs more at a time, and each costs memory. */
const socketsPerSessionMax = 20;

const tooMany = `This sign-in has ${socketsPerSessionMax} open pages already: close one of them first.`;

/** What a browser sends to check the connection. Other messages are ignored. */
const ping = '{"kind":"ping"}';

/** A slow reader is disconnected without a close frame, which would wait behind all that it has not read. */
function send(socket: WebSocket, message: LiveMessage): void {
  if (socket.bufferedAmount > unsentBytesMax) socket.terminate();
  else if (socket.readyState === socket.OPEN) socket.send(JSON.stringify(message));
}

type OpenSockets = Map<WebSocket, BrowserSession & { answered: boolean }>;

export function createLiveBrowsers(): LiveBrowsers {
  const sockets: OpenSockets = new Map();
  return { ...admission(sockets), ...announcements(sockets), ...endings(sockets) };
}

function admission(sockets: OpenSockets): Pick<LiveBrowsers, "refusal" | "attach" | "openSessions"> {
  const refusal = (session: string) => {
    let open = 0;
    for (const browser of sockets.values()) if (browser.session === session) open += 1;
    return open < socketsPerSessionMax ? null : tooMany;
  };
  return {
    refusal,
    attach(socket, watching) {
      const refused = refusal(watching.session);
      if (refused !== null) return socket.close(1013, refused);
      const browser = { ...watching, answered: true };
      sockets.set(socket, browser);
      socket.on("close", () => sockets.delete(socket));
      socket.on("pong", () => {
        browser.answered = true;
      });
      socket.on("message", (data) => {
        if (String(data) === ping) send(socket, { kind: "pong" });
      });
    },
    openSessions: () => new Set([...sockets.values()].map(({ session }) => session)),
  };
}

function announcements(sockets: OpenSockets): Pick<LiveBrowsers, "announcePhones" | "announceChange"> {
  return {
    announcePhones(person) {
      for (const [socket, browser] of sockets) if (browser.person === person) send(socket, { kind: "phones" });
    },
    announceChange(yard, feeder, revision) {
      for (const [socket, { yards }] of sockets) {
        if (yards.has(yard)) send(socket, { kind: "changed", feeder, revision });
      }
    },
  };
}

function endings(sockets: OpenSockets): Pick<LiveBrowsers, "reconnect" | "closeSocketsOf" | "pingAll" | "closeAll"> {
  const close = (code: number, reason: string, isMeant: (browser: BrowserSession) => boolean) => {
    for (const [socket, browser] of sockets) {
      if (!isMeant(browser)) continue;
      sockets.delete(socket); // nothing is sent to it any more, even while the other side delays its own close frame
      socket.close(code, reason);
    }
  };
  return {
    reconnect(person) {
      close(1012, "your yards changed: connect again", (browser) => browser.person === person);
    },
    closeSocketsOf(whose) {
      // 1008 of RFC 6455, 7.4.1: a policy forbids the connection.
      close(1008, "this sign-in has ended", (browser) =>
        "session" in whose ? browser.session === whose.session : browser.person === whose.person,
      );
    },
    pingAll() {
      for (const [socket, browser] of sockets) {
        if (!browser.answered || socket.bufferedAmount > unsentBytesMax) {
          socket.terminate();
          continue;
        }
        browser.answered = false;
        if (socket.readyState === socket.OPEN) socket.ping();
      }
    },
    closeAll() {
      close(1001, "the server is going down", () => true);
    },
  };
}
