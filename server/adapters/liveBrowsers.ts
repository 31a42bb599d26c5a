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

export function liveBrowsers(): LiveBrowsers {
  const sockets = new Map<WebSocket, { readonly person: string; readonly yards: ReadonlySet<string> }>();
  return {
    attach(socket, person, yards) {
      sockets.set(socket, { person, yards });
      socket.on("close", () => sockets.delete(socket));
    },
    reconnect(person) {
      for (const [socket, of] of sockets)
        if (of.person === person) socket.close(1012, "your yards changed: connect anew");
    },
    changed(yard, feeder, revision) {
      if (sockets.size === 0) return;
      const message: LiveMessage = { kind: "changed", feeder, revision };
      const text = JSON.stringify(message);
      for (const [socket, { yards }] of sockets) {
        if (!yards.has(yard)) continue;
        if (socket.bufferedAmount > unsentBytesMax) socket.close(1013, "too slow: connect anew");
        else if (socket.readyState === socket.OPEN) socket.send(text);
      }
    },
    closeAll() {
      for (const socket of sockets.keys()) socket.close(1001, "the server is going down");
    },
  };
}
