import type { WebSocket } from "ws";
import type { LiveMessage } from "../contract/api.ts";
import type { LiveFeed } from "../ports.ts";

export interface LiveBrowsers extends LiveFeed {
  /** @param yards whose changes it hears of */
  attach(socket: WebSocket, person: string, yards: ReadonlySet<string>): void;
  closeAll(): void;
}

/** A browser on a line so slow that this much is still unsent is better off asking anew than with a longer queue. */
const unsentBytesMax = 64 * 1024;

/** What a browser asks that wants to know whether anybody is there. All else that comes is let pass. */
const ping = '{"kind":"ping"}';

function send(socket: WebSocket, message: LiveMessage): void {
  if (socket.bufferedAmount > unsentBytesMax) socket.close(1013, "too slow: connect anew");
  else if (socket.readyState === socket.OPEN) socket.send(JSON.stringify(message));
}

export function liveBrowsers(): LiveBrowsers {
  const sockets = new Map<WebSocket, { readonly person: string; readonly yards: ReadonlySet<string> }>();
  return {
    attach(socket, person, yards) {
      sockets.set(socket, { person, yards });
      socket.on("close", () => sockets.delete(socket));
      socket.on("message", (data) => {
        if (String(data) === ping) send(socket, { kind: "pong" });
      });
    },
    phonesChanged(person) {
      for (const [socket, of] of sockets) if (of.person === person) send(socket, { kind: "phones" });
    },
    reconnect(person) {
      for (const [socket, of] of sockets)
        if (of.person === person) socket.close(1012, "your yards changed: connect anew");
    },
    changed(yard, feeder, revision) {
      for (const [socket, { yards }] of sockets) {
        if (yards.has(yard)) send(socket, { kind: "changed", feeder, revision });
      }
    },
    closeAll() {
      for (const socket of sockets.keys()) socket.close(1001, "the server is going down");
    },
  };
}
