import type { WebSocket } from "ws";
import { type LinkFrame, linkCloses } from "../contract/linkFrames.ts";
import type { FeederLink } from "../ports.ts";

/** Feeders that have a live socket, each with its newest one: a feeder that lost its connection opens another before we notice. */
export interface FeederSockets extends FeederLink {
  attach(feeder: string, socket: WebSocket): void;
  closeAll(): void;
}

export function createFeederSockets(): FeederSockets {
  const sockets = new Map<string, WebSocket>();
  const send = (feeder: string, frame: LinkFrame): boolean => {
    const socket = sockets.get(feeder);
    if (socket?.readyState !== socket?.OPEN || !socket) return false;
    socket.send(JSON.stringify(frame));
    return true;
  };
  return {
    attach(feeder, socket) {
      sockets.get(feeder)?.close(linkCloses.replaced.code, linkCloses.replaced.reason);
      sockets.set(feeder, socket);
      socket.on("close", () => {
        if (sockets.get(feeder) === socket) sockets.delete(feeder);
      });
    },
    sendOrders: (feeder, orders) => send(feeder, { orders: [...orders] }),
    sendPlan: (feeder, plan) => send(feeder, { plan }),
    disconnect(feeder) {
      sockets.get(feeder)?.close(linkCloses.keyChanged.code, linkCloses.keyChanged.reason);
    },
    closeAll() {
      const { code, reason } = linkCloses.stopping;
      for (const socket of sockets.values()) socket.close(code, reason);
    },
  };
}
