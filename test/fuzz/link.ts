import { once } from "node:events";
import { WebSocket } from "ws";
import { problemDetailsProblem } from "./answers.ts";
import type { RandomSource } from "./randomSource.ts";

/** A feeder's socket that is opened again when the server has closed it for what it sent. */
export interface FuzzLink {
  /** @returns what is wrong with the answer; null where nothing is. */
  send(frame: string | Buffer, chance: RandomSource): Promise<string | null>;
  close(): void;
}

/** The server may close for a frame that is no text or too long (RFC 6455, 7.4.1), and for nothing else. */
const mayClose = new Set([1003, 1007, 1009]);

export function openLink(address: string, key: string): FuzzLink {
  let socket: WebSocket | null = null;
  const opened = async () => {
    if (socket?.readyState === WebSocket.OPEN) return socket;
    const fresh = new WebSocket(`${address.replace("http", "ws")}/api/v1/link`, {
      headers: { authorization: `Bearer ${key}` },
    });
    fresh.on("error", () => undefined); // what matters is that it closes, and with which code
    await once(fresh, "open");
    socket = fresh;
    return fresh;
  };
  return {
    async send(frame, chance) {
      const to = await opened();
      const answer = nextAnswer(to);
      to.send(frame, { binary: Buffer.isBuffer(frame) && chance.is(0.5), compress: false });
      const received = await answer;
      if ("closed" in received) return mayClose.has(received.closed) ? null : `the link closed with ${received.closed}`;
      const { problem } = JSON.parse(received.text) as { problem?: { status?: number } };
      if (problem === undefined) return null;
      const status = problem.status ?? 0;
      return status >= 500 || status < 400
        ? `the link answered ${received.text}`
        : problemDetailsProblem(problem, status);
    },
    close: () => socket?.terminate(),
  };
}

/** The next frame that is not an order: orders come without a request. */
function nextAnswer(socket: WebSocket): Promise<{ text: string } | { closed: number }> {
  return new Promise((resolve) => {
    const onMessage = (data: unknown) => {
      const text = String(data);
      if (!text.startsWith('{"orders"')) done({ text });
    };
    const onClose = (code: number) => done({ closed: code });
    const done = (received: { text: string } | { closed: number }) => {
      socket.off("message", onMessage);
      socket.off("close", onClose);
      resolve(received);
    };
    socket.on("message", onMessage);
    socket.on("close", onClose);
  });
}
