import type { WebSocket } from "ws";
import type { LiveMessage } from "../contract/api.ts";
import type { LiveFeed } from "../ports.ts";

export interface LiveBrowsers extends LiveFeed {
  attach(socket: WebSocket): void;
  closeAll(): void;
}

/** A browser on a line so slow that this much is still unsent is better off asking anew than with a longer queue. */
const unsentBytesMax = 64 * 1024;

export function liveBrowsers(): LiveBrowsers {
  const sockets = new Set<WebSocket>();
  return {
    attach(socket) {
      sockets.add(socket);
      socket.on("close", () => sockets.delete(socket));
    },
    changed(_yard, feeder, revision) {
      if (sockets.size === 0) return;
      const message: LiveMessage = { kind: "changed", feeder, revision };
      const text = JSON.stringify(message);
      for (const socket of sockets) {
        if (socket.bufferedAmount > unsentBytesMax) socket.close(1013, "too slow: connect anew");
        else if (socket.readyState === socket.OPEN) socket.send(text);
      }
    },
    closeAll() {
      for (const socket of sockets) socket.close(1001, "the server is going down");
    },
  };
}
