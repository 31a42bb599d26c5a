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

/** A browser on a line so slow that this much is still unsent is better off asking anew than with a longer queue. */
const unsentBytesMax = 64 * 1024;

/** Open pages of one browser. Our choice: nobody looks at more at a time, and each costs memory. */
const socketsPerSessionMax = 20;

const tooMany = `This sign-in has ${socketsPerSessionMax} open pages already: close one of them first.`;

/** What a browser asks that wants to know whether anybody is there. All else that comes is let pass. */
const ping = '{"kind":"ping"}';

/** A slow reader is cut off without a close frame: that would wait behind all that it doesn't read. */
function send(socket: WebSocket, message: LiveMessage): void {
  if (socket.bufferedAmount > unsentBytesMax) socket.terminate();
  else if (socket.readyState === socket.OPEN) socket.send(JSON.stringify(message));
}

export function createLiveBrowsers(): LiveBrowsers {
  const sockets = new Map<WebSocket, BrowserSession & { answered: boolean }>();
  const refusal = (session: string) => {
    let open = 0;
    for (const of of sockets.values()) if (of.session === session) open += 1;
    return open < socketsPerSessionMax ? null : tooMany;
  };
  const close = (code: number, reason: string, which: (of: BrowserSession) => boolean) => {
    for (const [socket, of] of sockets) {
      if (!which(of)) continue;
      sockets.delete(socket); // nothing is sent to it any more, even while the other side delays its own close frame
      socket.close(code, reason);
    }
  };
  return {
    refusal,
    attach(socket, watching) {
      const refused = refusal(watching.session);
      if (refused !== null) return socket.close(1013, refused);
      const of = { ...watching, answered: true };
      sockets.set(socket, of);
      socket.on("close", () => sockets.delete(socket));
      socket.on("pong", () => {
        of.answered = true;
      });
      socket.on("message", (data) => {
        if (String(data) === ping) send(socket, { kind: "pong" });
      });
    },
    announcePhones(person) {
      for (const [socket, of] of sockets) if (of.person === person) send(socket, { kind: "phones" });
    },
    reconnect(person) {
      close(1012, "your yards changed: connect anew", (of) => of.person === person);
    },
    announceChange(yard, feeder, revision) {
      for (const [socket, { yards }] of sockets) {
        if (yards.has(yard)) send(socket, { kind: "changed", feeder, revision });
      }
    },
    closeSocketsOf(whose) {
      // 1008 of RFC 6455, 7.4.1: a policy forbids the connection.
      close(1008, "this sign-in has ended", (of) =>
        "session" in whose ? of.session === whose.session : of.person === whose.person,
      );
    },
    openSessions: () => new Set([...sockets.values()].map(({ session }) => session)),
    pingAll() {
      for (const [socket, of] of sockets) {
        if (!of.answered || socket.bufferedAmount > unsentBytesMax) {
          socket.terminate();
          continue;
        }
        of.answered = false;
        if (socket.readyState === socket.OPEN) socket.ping();
      }
    },
    closeAll() {
      close(1001, "the server is going down", () => true);
    },
  };
}
