import { type AddressInfo, connect, createServer, type Socket } from "node:net";
import type { RandomSource } from "../../../server/practice/random.ts";

/**
 * A line between a feeder and its server that refuses connections, delays, cuts them on the way there or back, and sends a request twice, as
 * home networks and their boxes do. The address stays the same while the server behind it starts again on another port.
 */
export interface PoorLine {
  readonly port: number;
  /** Null: nobody is there. */
  leadTo(port: number | null): void;
  /** From now on it only forwards. */
  mend(): void;
  counts(): Readonly<Record<Mishap, number>>;
  close(): Promise<void>;
}

const mishaps = ["refused", "requestCut", "answerCut", "doubled", "delayed"] as const;
type Mishap = (typeof mishaps)[number];
/** Of all connections; the rest only passes through. */
const shares: Readonly<Record<Mishap, number>> = {
  refused: 0.1,
  requestCut: 0.1,
  answerCut: 0.15,
  doubled: 0.15,
  delayed: 0.25,
};

export async function openPoorLine(chance: RandomSource): Promise<PoorLine> {
  let target: number | null = null;
  let isMended = false;
  const counts = Object.fromEntries(mishaps.map((name) => [name, 0])) as Record<Mishap, number>;
  const open = new Set<Socket>();

  const choose = (): Mishap | null => {
    let rest = chance.uniform();
    for (const name of mishaps) {
      rest -= shares[name];
      if (rest < 0) return name;
    }
    return null;
  };

  const server = createServer((feeder) => {
    keep(open, feeder);
    const mishap = isMended ? null : choose();
    if (mishap !== null) counts[mishap] += 1;
    if (target === null || mishap === "refused") {
      feeder.destroy();
      return;
    }
    pass(feeder, target, mishap, chance, open);
  });
  await new Promise<void>((resolve) => server.listen(0, "127.0.0.1", resolve));
  return {
    port: (server.address() as AddressInfo).port,
    leadTo: (port) => {
      target = port;
    },
    mend: () => {
      isMended = true;
    },
    counts: () => counts,
    async close() {
      for (const socket of open) socket.destroy();
      await new Promise<void>((resolve) => server.close(() => resolve()));
    },
  };
}

function keep(open: Set<Socket>, socket: Socket): void {
  open.add(socket);
  socket.on("error", () => socket.destroy());
  socket.on("close", () => open.delete(socket));
}

function pass(feeder: Socket, port: number, mishap: Mishap | null, chance: RandomSource, open: Set<Socket>): void {
  const server = connect(port, "127.0.0.1");
  keep(open, server);
  const sent: Buffer[] = [];
  const slow = mishap === "delayed" ? Math.floor(chance.uniform() * delayMax) : 0;
  const cutAfter = Math.floor(chance.uniform() * 400); // octets, mostly within the head or the body's first event
  const both = () => {
    feeder.destroy();
    server.destroy();
  };
  let received = 0;
  feeder.on("data", (part: Buffer) => {
    sent.push(part);
    received += part.length;
    if (mishap === "requestCut" && received > cutAfter) {
      server.write(part.subarray(0, Math.max(0, part.length - (received - cutAfter))), both);
      return;
    }
    setTimeout(() => server.writable && server.write(part), slow);
  });
  server.on("data", (part: Buffer) => {
    // The server has done what was asked, and the feeder never hears of it.
    if (mishap === "answerCut") both();
    else setTimeout(() => feeder.writable && feeder.write(part), slow);
  });
  server.on("close", () => {
    setTimeout(() => feeder.end(), slow);
    if (mishap === "doubled") repeat(Buffer.concat(sent), port, open);
  });
  feeder.on("close", () => setTimeout(() => server.end(), slow));
}
const delayMax = 300; // ms

/** Some box on the way sends the same request once more; its answer goes nowhere. */
function repeat(request: Buffer, port: number, open: Set<Socket>): void {
  if (!request.subarray(0, 5).equals(Buffer.from("POST "))) return;
  const again = connect(port, "127.0.0.1", () => again.end(request));
  keep(open, again);
  again.resume();
}
