import underPressure from "@fastify/under-pressure";
import type { FastifyInstance, FastifyReply, FastifyRequest } from "fastify";
import { after, type Instant, minutes, seconds } from "../domain/instant.ts";
import type { Clock } from "../ports.ts";
import { endConnection, overloadedProblem, sendProblem } from "./problems.ts";

/** What is refused because too much comes at once; each counts for the one line a minute in the log. */
type RefusedKind = "report" | "request" | "connection" | "signIn";

export interface Overload {
  /** Counts a refusal, and logs at most one line a minute. */
  recordRefusal(what: RefusedKind): void;
  /** Whether the server is so far behind with its work that it takes nothing more of this kind. */
  isOverloaded(kind: RequestKind): boolean;
}

type RequestKind = "report" | "request";

/** Reports wait for their commit: many at once are usual after a power cut. One yard's people never open more pages at once. */
const concurrentMax = { report: 256, request: 32 };
const connectionsMax = 1_024;

/** How late the event loop may be on average, in milliseconds. Pages give way before reports do. Chosen, no source. */
const delayMax = { report: 3_000, request: 1_000 };
/** One long piece of work, as at the start, is no overload. */
const overloadedFor = seconds(2);

const retryAfterSeconds = "10";

export const refuseOverload = (reply: FastifyReply): FastifyReply =>
  sendProblem(reply.header("retry-after", retryAfterSeconds), overloadedProblem);

/** The same for a sender whose body is not read to its end. */
export const endOverload = ({ raw }: FastifyRequest): void =>
  endConnection(raw.socket, overloadedProblem, retryAfterSeconds);

/** Bounds how much is under way at once. Feeders' reports have their own share, and keep it where pages flood. */
export async function limitLoad(app: FastifyInstance, clock: Clock): Promise<Overload> {
  await app.register(underPressure); // without limits of its own it only measures
  const lateSince: Record<RequestKind, Instant | null> = { report: null, request: null };
  const isLate = (kind: RequestKind) => {
    const now = clock.now();
    lateSince[kind] = app.memoryUsage().eventLoopDelay > delayMax[kind] ? (lateSince[kind] ?? now) : null;
    const since = lateSince[kind];
    return since !== null && now >= after(since, overloadedFor);
  };
  const overload: Overload = { recordRefusal: createOverloadLog(app, clock), isOverloaded: isLate };

  const underWay = { report: 0, request: 0 };
  app.addHook("onRequest", (request, reply, next) => {
    if (isHealth(request)) return next();
    const kind = isReport(request) ? "report" : "request";
    if (isLate(kind) || underWay[kind] >= concurrentMax[kind]) {
      overload.recordRefusal(kind);
      refuseOverload(reply);
      return;
    }
    if (request.ws) return next(); // it stays open for days
    underWay[kind] += 1;
    onResponseEnd(reply, () => {
      underWay[kind] -= 1;
    });
    next();
  });

  app.server.maxConnections = connectionsMax;
  app.server.on("drop", () => overload.recordRefusal("connection"));
  return overload;
}

const isReport = ({ routeOptions: { url } }: FastifyRequest) => url === "/api/v1/report" || url === "/api/v1/link";
const isHealth = ({ routeOptions: { url } }: FastifyRequest) => url === "/api/v1/health";

/** Once, when the answer has left or its connection ended: an end without an answer has no `onResponse` in Fastify. */
export function onResponseEnd({ raw }: FastifyReply, work: () => void): void {
  let over = false;
  const once = () => {
    if (!over) work();
    over = true;
  };
  raw.once("finish", once);
  raw.once("close", once);
}

function createOverloadLog(app: FastifyInstance, clock: Clock): Overload["recordRefusal"] {
  let counts: Partial<Record<RefusedKind, number>> = {};
  let loggedAt: Instant | null = null;
  return (what) => {
    counts[what] = (counts[what] ?? 0) + 1;
    const now = clock.now();
    if (loggedAt !== null && now >= loggedAt && now < loggedAt + minutes(1)) return;
    loggedAt = now;
    const memoryMebibytes = Math.round(process.memoryUsage.rss() / 2 ** 20);
    app.log.warn({ refused: counts, memoryMebibytes }, "overloaded: more requests come than the server can take");
    counts = {};
  };
}
