import type { FastifyBaseLogger, FastifyInstance, FastifyRequest } from "fastify";
import type { WebSocket } from "ws";
import type { LinkFrame } from "../contract/linkFrames.ts";
import { minutes } from "../domain/instant.ts";
import { sendWaitingOrders } from "../flows/keeperActs.ts";
import { type Clock, FeederDamaged, isStoreProblem, StoreBusy } from "../ports.ts";
import type { FeederDoor } from "./feederDoor.ts";
import { identify, refuseStranger } from "./feederIdentity.ts";
import { feederDamaged, type Problem, problemOf, sendProblem } from "./problems.ts";
import { problemFor, take } from "./takenReport.ts";

/** The same reports over a socket, which also carries orders out at once. */
export function linkRoute(app: FastifyInstance, door: FeederDoor): void {
  const admitted = new WeakMap<FastifyRequest, string>();
  app.route({
    method: "GET",
    url: "/api/v1/link",
    schema: {
      tags: ["feeders"],
      summary: "The same reports over a WebSocket, which brings orders at once",
      security: [{ feederKey: [] }],
    },
    // A socket with a wrong key is refused before it opens, in plain HTTP that any client understands.
    preValidation: async (request, reply) => {
      const who = await identify(door, request, "");
      if (who.kind === "stranger") return refuseStranger(reply, who.why);
      admitted.set(request, who.id);
    },
    handler: (_request, reply) => sendProblem(reply.header("upgrade", "websocket"), noSocket),
    wsHandler: (socket, request) => holdLink(door, admitted.get(request) as string, socket, request.log),
  });
}

/** RFC 9110, 15.5.22. */
export const noSocket: Problem = { status: 426, detail: "This address takes reports over a WebSocket only." };

/** One line of JSON each way: a report in, `{ answer }` or `{ problem }` back, `{ orders }` whenever a keeper asks. */
function holdLink(door: FeederDoor, feeder: string, socket: WebSocket, log: FastifyBaseLogger): void {
  const allowed = perMinute(door.reportsPerMinute, door.ports.clock);
  const answer = async (text: string): Promise<LinkFrame> =>
    allowed() ? answerTo(door, feeder, text, log) : { problem: problemOf(tooOften(door.reportsPerMinute)) };
  // One report at a time and answered in turn, as over HTTP: meanwhile the next ones stay in the network.
  let waiting = 0;
  let turn: Promise<unknown> = Promise.resolve();
  socket.on("message", (data) => {
    waiting += 1;
    socket.pause();
    turn = turn
      .then(() => answer(data.toString()))
      .then((said) => socket.send(JSON.stringify(said)))
      .catch((error: unknown) => log.error({ err: error, feeder }, "answering on a feeder's socket failed"))
      .finally(() => {
        waiting -= 1;
        if (waiting === 0) socket.resume();
      });
  });
  socket.on("error", (error) => log.info({ err: error, feeder }, "a feeder's socket broke"));
  keepAwake(socket);
  door.sockets.attach(feeder, socket);
  sendWaitingOrders(door.ports, feeder).catch((error: unknown) =>
    log.error({ err: error, feeder }, "waiting orders could not be sent; they go with the next answer"),
  );
}

export const tooOften = (most: number): Problem => ({
  status: 429,
  detail: `More than ${most} reports a minute: wait, and send more events in each.`,
});

/** The limit that HTTP has, for a socket: so many in each minute by the clock. */
function perMinute(most: number, clock: Clock): () => boolean {
  let [minute, count] = [0, 0];
  return () => {
    const now = Math.floor(clock.now() / minutes(1));
    [minute, count] = now === minute ? [minute, count + 1] : [now, 1];
    return count <= most;
  };
}

async function answerTo(door: FeederDoor, feeder: string, text: string, log: FastifyBaseLogger): Promise<LinkFrame> {
  try {
    const outcome = await take(door, feeder, text, log);
    return outcome.kind === "answered" ? { answer: outcome.answer } : { problem: problemOf(problemFor(outcome)) };
  } catch (error) {
    log.error({ err: error, feeder }, "a report on a socket could not be stored");
    if (error instanceof FeederDamaged) return { problem: problemOf(feederDamaged) };
    const status = error instanceof StoreBusy ? 503 : isStoreProblem(error) ? 507 : 500;
    return { problem: problemOf({ status, detail: "Nothing was stored. Keep it and try again." }) };
  }
}

export const pingEveryMilliseconds = 30_000;

/** Home routers forget a quiet connection without a word; a ping that isn't answered ends it, so that orders don't vanish. */
function keepAwake(socket: WebSocket): void {
  let answered = true;
  socket.on("pong", () => {
    answered = true;
  });
  const timer = setInterval(() => {
    if (!answered) return socket.terminate();
    answered = false;
    socket.ping();
  }, pingEveryMilliseconds);
  timer.unref();
  socket.on("close", () => clearInterval(timer));
}
