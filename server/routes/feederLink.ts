import type { FastifyBaseLogger, FastifyInstance, FastifyRequest } from "fastify";
import type { WebSocket } from "ws";
import type { LinkFrame, ReportFrame } from "../contract/linkFrames.ts";
import { after, type Instant, minutes } from "../domain/instant.ts";
import { sendWaitingOrders } from "../flows/keeperActions.ts";
import { FeederDamaged, isStoreProblem, StoreBusy } from "../ports.ts";
import { texts } from "../text/index.ts";
import { askForIdentity, identifyFeeder, isSigned, refuseTooOften, refuseUnknownSender } from "./feederIdentity.ts";
import { ingestReport, outcomeProblem } from "./ingestReport.ts";
import { feederDamagedProblem, overloadedProblem, type Problem, problemView, sendProblem } from "./problems.ts";
import type { ReportingContext } from "./reportingContext.ts";

/** The same reports over a socket, which also carries orders out at once. */
export function linkRoute(app: FastifyInstance, context: ReportingContext): void {
  const admitted = new WeakMap<FastifyRequest, string>();
  const firstUse = createSignatureCheck();
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
      const who = await identifyFeeder(context, request, "");
      if (who.kind === "unknown") return refuseUnknownSender(context, request, reply, who.reason);
      const wait = context.limits.countLink(who.id);
      if (wait !== null) return refuseTooOften(reply, tooManyLinksProblem, wait);
      if (isSigned(request) && !firstUse(request.headers.authorization ?? "", context.ports.clock.now())) {
        return sendProblem(askForIdentity(context, reply), usedSignatureProblem);
      }
      admitted.set(request, who.id);
    },
    handler: (_request, reply) => sendProblem(reply.header("upgrade", "websocket"), noSocketProblem),
    wsHandler: (socket, request) => serveLink(context, admitted.get(request) as string, socket, request.log),
  });
}

export const usedSignatureProblem: Problem = {
  status: 401,
  detail: texts.refusals.usedSignature,
};

export const tooManyLinksProblem: Problem = {
  status: 429,
  detail: texts.refusals.tooManySockets,
};

/** The frames on a socket are not signed: a recorded signature of one must not open another. */
function createSignatureCheck(): (authorization: string, now: Instant) => boolean {
  const used = new Map<string, Instant>();
  return (authorization, now) => {
    for (const [mac, until] of used) if (until < now) used.delete(mac);
    const mac = /mac="?([^",\s]+)/.exec(authorization)?.[1] ?? "";
    if (used.has(mac)) return false;
    used.set(mac, after(now, minutes(11))); // its time may be five minutes ahead, and is valid for five more
    return true;
  };
}

/** RFC 9110, 15.5.22. */
export const noSocketProblem: Problem = { status: 426, detail: texts.refusals.socketOnly };

/** One line of JSON each way: a report in, `{ answer }` or `{ problem }` back, `{ orders }` whenever a keeper gives one. */
function serveLink(context: ReportingContext, feeder: string, socket: WebSocket, log: FastifyBaseLogger): void {
  const answer = async (text: string): Promise<LinkFrame> => {
    if (context.limits.countReport(feeder) !== null)
      return { problem: problemView(tooManyReportsProblem(context.reportsPerMinute)) };
    const late = context.overload.isOverloaded("report");
    const reservation = late ? null : context.bodies.proven.reserve(Buffer.byteLength(text), () => undefined);
    if (reservation === null) {
      context.overload.recordRefusal("report");
      return { problem: problemView(overloadedProblem) };
    }
    reservation.markComplete();
    return answerFrame(context, feeder, text, log).finally(reservation.release);
  };
  // One report at a time, answered in order, as over HTTP: meanwhile the next ones stay in the network.
  let waiting = 0;
  let lastAnswer: Promise<unknown> = Promise.resolve();
  socket.on("message", (data) => {
    waiting += 1;
    socket.pause();
    lastAnswer = lastAnswer
      .then(() => answer(data.toString()))
      .then((frame) => socket.send(JSON.stringify(frame)))
      .catch((error: unknown) => log.error({ err: error, feeder }, "answering on a feeder's socket failed"))
      .finally(() => {
        waiting -= 1;
        if (waiting === 0) socket.resume();
      });
  });
  socket.on("error", (error) => log.info({ err: error, feeder }, "a feeder's socket broke"));
  keepAlive(socket);
  context.sockets.attach(feeder, socket);
  sendWaitingOrders(context.ports, feeder).catch((error: unknown) =>
    log.error({ err: error, feeder }, "waiting orders could not be sent; they go with the next answer"),
  );
}

export const tooManyReportsProblem = (most: number): Problem => ({
  status: 429,
  detail: texts.refusals.tooManyReports(most),
});

/** @returns the same for a report on a socket and one over a broker */
export async function answerFrame(
  context: ReportingContext,
  feeder: string,
  text: string,
  log: FastifyBaseLogger,
): Promise<ReportFrame> {
  try {
    const outcome = await ingestReport(context, feeder, text, log);
    return outcome.kind === "answered" ? { answer: outcome.answer } : { problem: problemView(outcomeProblem(outcome)) };
  } catch (error) {
    log.error({ err: error, feeder }, "a report could not be stored");
    if (error instanceof FeederDamaged) return { problem: problemView(feederDamagedProblem) };
    const status = error instanceof StoreBusy ? 503 : isStoreProblem(error) ? 507 : 500;
    return { problem: problemView({ status, detail: texts.refusals.notStored }) };
  }
}

export const pingEveryMilliseconds = 30_000;

/** Home routers drop an idle connection without closing it. A ping without an answer ends it, so that orders aren't lost. */
function keepAlive(socket: WebSocket): void {
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
