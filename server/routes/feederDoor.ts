import type { FastifyBaseLogger, FastifyInstance, FastifyReply, FastifyRequest } from "fastify";
import type { WebSocket } from "ws";
import type { FeederSockets } from "../adapters/feederSockets.ts";
import { answerSchema, eventsPerReportMax, reportBytesMax, reportSchema } from "../contract/report.ts";
import { minutes } from "../domain/instant.ts";
import { type FeederKeys, hashOf, type Identified } from "../flows/feederKeys.ts";
import type { Ingest, IngestOutcome } from "../flows/ingest.ts";
import { sendWaitingOrders } from "../flows/keeperActs.ts";
import { type Clock, type Ports, StoreBusy, StoreFull } from "../ports.ts";
import { type Problem, problemOf, sendProblem } from "./problems.ts";

export interface FeederDoor {
  readonly ports: Ports;
  readonly keys: FeederKeys;
  readonly ingest: Ingest;
  readonly sockets: FeederSockets;
  readonly reportsPerMinute: number;
}

/** Where feeders report: one request at a time, or over a socket that also carries orders out at once. */
export async function feederDoor(app: FastifyInstance, door: FeederDoor): Promise<void> {
  keepText(app);

  app.post(
    "/api/v1/report",
    {
      bodyLimit: reportBytesMax,
      config: { rateLimit: { max: door.reportsPerMinute, timeWindow: "1 minute", keyGenerator: senderOf } },
      // The schema is here for the documentation: reading has to tell one bad event from a bad report, so it is ours.
      validatorCompiler: () => (value: unknown) => ({ value }),
      serializerCompiler: () => (answer: unknown) => JSON.stringify(answer),
      schema: {
        tags: ["feeders"],
        summary: "Report readings and events",
        description:
          "Send the oldest events first, one report at a time, and keep them until an answer says storedThrough. Sending twice is harmless.",
        security: [{ feederKey: [] }],
        body: reportSchema.meta({ example: reportExample }),
        response: { 200: answerSchema },
      },
    },
    async (request, reply) => {
      const who = await identify(door, request, textOf(request));
      if (who.kind === "stranger") return refuseStranger(reply, who.why);
      const outcome = await take(door, who.id, request.body);
      if (outcome.kind !== "answered") return sendProblem(reply, problemFor(outcome));
      return outcome.answer;
    },
  );

  app.get(
    "/api/v1/link",
    {
      websocket: true,
      schema: { hide: true },
      // A socket with a wrong key is refused before it opens, in plain HTTP that any client understands.
      preValidation: async (request, reply) => {
        const who = await identify(door, request, "");
        if (who.kind === "stranger") return refuseStranger(reply, who.why);
        admitted.set(request, who.id);
      },
    },
    (socket, request) => holdLink(door, admitted.get(request) as string, socket, request.log),
  );
}

const admitted = new WeakMap<FastifyRequest, string>();

/** A report as in the documentation, good for pasting: the tests post this very one. */
export const reportExample = {
  boot: "b-7f3a91c2",
  sentUptimeMs: 123_456,
  sentAt: null,
  readings: {
    hopperGrams: 812.4,
    airCelsius: -6.2,
    insideCelsius: -2.1,
    lidCelsius: -8.0,
    humidityPercent: 88,
    supplyVolts: 5.04,
    batteryVolts: 12.31,
    batteryCelsius: -4.0,
    chargeMilliamps: 0,
    signalDbm: -67,
    spooled: 0,
    counts: { button: 41, detector: 12, chute: 53, perch: 88 },
    paused: false,
    planVersion: 7,
  },
  events: [
    { seq: 412, uptimeMs: 121_000, kind: "deposit", metal: true, signal: 0.82, chute: true },
    {
      seq: 413,
      uptimeMs: 121_450,
      kind: "portion",
      cause: "deposit",
      paysFor: 412,
      motorMs: 900,
      meanMilliamps: 240,
      peakMilliamps: 610,
      chuteCount: 3,
    },
  ],
};

// --- who it is -----------------------------------------------------------------------------------------------------

const texts = new WeakMap<FastifyRequest, string>();
const textOf = (request: FastifyRequest): string => texts.get(request) ?? "";

/** A signature covers the body byte for byte, so its text is kept beside what was parsed from it. */
function keepText(app: FastifyInstance): void {
  const parse = app.getDefaultJsonParser("error", "error");
  app.removeContentTypeParser("application/json");
  app.addContentTypeParser("application/json", { parseAs: "string" }, (request, text, done) => {
    texts.set(request, text as string);
    void parse(request, text as string, done); // it answers through `done`
  });
}

const identify = (door: FeederDoor, request: FastifyRequest, body: string): Promise<Identified> =>
  door.keys.identify(request.headers.authorization, body, door.ports.clock.now());

/** Whom the limit counts: the key (never kept in the clear), a signer's name, or else the address. */
function senderOf(request: FastifyRequest): string {
  const said = request.headers.authorization ?? "";
  const signer = said.match(/^signature\s.*feeder="?([^",\s]+)/i)?.[1];
  return signer ? `signer ${signer}` : said ? hashOf(said) : request.ip;
}

function refuseStranger(reply: FastifyReply, why: string): FastifyReply {
  return sendProblem(reply.header("www-authenticate", "Bearer"), {
    status: 401,
    detail: `Send the feeder's key as Authorization: Bearer pw_…: ${why}.`,
    errors: [{ field: "Authorization", problem: why }],
  });
}

// --- what it says --------------------------------------------------------------------------------------------------

type TakeOutcome =
  | IngestOutcome
  | { readonly kind: "tooMany"; readonly events: number }
  | { readonly kind: "otherFeeder"; readonly named: string; readonly is: string };

async function take(door: FeederDoor, feeder: string, posted: unknown): Promise<TakeOutcome> {
  const { events, feeder: named } = (posted ?? {}) as { events?: unknown; feeder?: unknown };
  if (Array.isArray(events) && events.length > eventsPerReportMax) return { kind: "tooMany", events: events.length };
  // A feeder may say who it believes it is: two feeders with swapped keys would spoil both records.
  if (typeof named === "string" && named !== feeder) return { kind: "otherFeeder", named, is: feeder };
  return door.ingest.take(feeder, posted);
}

function problemFor(outcome: Exclude<TakeOutcome, { kind: "answered" }>): Problem {
  switch (outcome.kind) {
    case "unreadable":
      return {
        status: 400,
        detail: outcome.errors.map(({ field, problem }) => `${field}: ${problem}`).join("; "),
        errors: outcome.errors,
      };
    case "tooMany": {
      const what = `has ${outcome.events} events; at most ${eventsPerReportMax} a report: send the oldest first, the rest next time`;
      return { status: 413, detail: `events: ${what}`, errors: [{ field: "events", problem: what }] };
    }
    case "otherFeeder": {
      const what = `is ${outcome.named}, but the key belongs to ${outcome.is}`;
      return { status: 403, detail: `feeder: ${what}`, errors: [{ field: "feeder", problem: what }] };
    }
    case "bootReused": {
      const what = `${outcome.boot} was up for ${outcome.uptimeBefore} ms before; a feeder that starts anew needs a new boot id`;
      return { status: 409, detail: `boot: ${what}`, errors: [{ field: "boot", problem: what }] };
    }
    case "unknownFeeder":
      return { status: 404, detail: "This feeder was removed." };
  }
}

/** One line of JSON each way: a report in, `{ answer }` or `{ problem }` back, `{ orders }` whenever a keeper asks. */
function holdLink(door: FeederDoor, feeder: string, socket: WebSocket, log: FastifyBaseLogger): void {
  const allowed = perMinute(door.reportsPerMinute, door.ports.clock);
  const answer = (text: string) =>
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

const tooOften = (most: number): Problem => ({
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

async function answerTo(door: FeederDoor, feeder: string, text: string, log: FastifyBaseLogger): Promise<object> {
  let posted: unknown;
  try {
    posted = JSON.parse(text);
  } catch (error) {
    return { problem: problemOf({ status: 400, detail: `This is no JSON: ${(error as Error).message}` }) };
  }
  try {
    const outcome = await take(door, feeder, posted);
    return outcome.kind === "answered" ? { answer: outcome.answer } : { problem: problemOf(problemFor(outcome)) };
  } catch (error) {
    log.error({ err: error, feeder }, "a report on a socket could not be stored");
    const status = error instanceof StoreFull ? 507 : error instanceof StoreBusy ? 503 : 500;
    return { problem: problemOf({ status, detail: "Nothing was stored. Keep it and try again." }) };
  }
}

const pingEveryMilliseconds = 30_000;

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
