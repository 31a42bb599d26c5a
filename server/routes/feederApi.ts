import type { FastifyInstance, FastifyReply, FastifyRequest } from "fastify";
import { answerSchema, reportBytesMax, reportSchema } from "../contract/report.ts";
import { reportExample } from "../contract/reportExample.ts";
import type { BodyBudget, BodyReservation } from "./bodyBudget.ts";
import { identifyFeeder, isSigned, refuseTooOften, refuseUnknownSender, tooManyWrongKeys } from "./feederIdentity.ts";
import { linkRoute, tooManyReportsProblem } from "./feederLink.ts";
import { ingestReport, outcomeProblem } from "./ingestReport.ts";
import { endOverload, onResponseEnd, refuseOverload } from "./overload.ts";
import { sendProblem } from "./problems.ts";
import type { FeederDoor as FeederApi } from "./reportingContext.ts";

/** Where feeders report: one request at a time, or over a socket that also carries orders out at once. */
export async function feederApiRoutes(app: FastifyInstance, door: FeederApi): Promise<void> {
  parseBodyAsText(app);
  reportRoute(app, door);
  linkRoute(app, door);
}

function reportRoute(app: FastifyInstance, door: FeederApi): void {
  const admitted = new WeakMap<FastifyRequest, string>();
  app.post(
    "/api/v1/report",
    {
      bodyLimit: reportBytesMax,
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
      // Whoever has no key need not be listened to for a megabyte.
      preParsing: async (request, reply) => {
        const bytes = bodyBytes(request);
        if (isSigned(request)) {
          if (!door.limits.acceptsUnproven(request, bytes)) return refuseTooOften(reply, tooManyWrongKeys, 60);
          return reserveBody(door, door.bodies.unproven, request, reply, bytes);
        }
        const who = await identifyFeeder(door, request, "");
        if (who.kind === "unknown") return refuseUnknownSender(door, request, reply, who.reason);
        const wait = door.limits.countReport(who.id);
        if (wait !== null) return refuseTooOften(reply, tooManyReportsProblem(door.reportsPerMinute), wait);
        admitted.set(request, who.id);
        return reserveBody(door, door.bodies.proven, request, reply, bytes);
      },
    },
    async (request, reply) => {
      const room = reservations.get(request);
      room?.markComplete();
      try {
        let feeder = admitted.get(request);
        if (feeder === undefined) {
          const who = await identifyFeeder(door, request, bodyText(request)); // a signature covers the body byte for byte
          if (who.kind === "unknown") return refuseUnknownSender(door, request, reply, who.reason);
          feeder = who.id;
          door.limits.recordProvenSender(request, feeder);
          const wait = door.limits.countReport(feeder);
          if (wait !== null) return refuseTooOften(reply, tooManyReportsProblem(door.reportsPerMinute), wait);
        }
        const outcome = await ingestReport(door, feeder, bodyText(request), request.log);
        if (outcome.kind !== "answered") return sendProblem(reply, outcomeProblem(outcome));
        return outcome.answer;
      } finally {
        room?.release();
      }
    },
  );
}

const reservations = new WeakMap<FastifyRequest, BodyReservation>();

/** Keeps room for a body until its report is stored, even where its sender has gone meanwhile: it is still worked on. */
function reserveBody(
  door: FeederApi,
  budget: BodyBudget,
  request: FastifyRequest,
  reply: FastifyReply,
  bytes: number,
): FastifyReply | undefined {
  const noRoom = () => {
    door.overload.recordRefusal("report");
    endOverload(request);
  };
  const room = budget.reserve(bytes, noRoom);
  if (room === null) {
    door.overload.recordRefusal("report");
    return refuseOverload(reply.header("connection", "close")); // the rest is not read
  }
  reservations.set(request, room);
  onResponseEnd(reply, () => {
    if (request.body === undefined) room.release(); // it never arrived whole
  });
  return undefined;
}

/** What its sender says, up to what is read at all. */
function bodyBytes({ headers }: FastifyRequest): number {
  const request = Number(headers["content-length"] ?? reportBytesMax);
  return Number.isFinite(request) ? Math.min(Math.max(request, 0), reportBytesMax) : reportBytesMax;
}

const bodyText = ({ body }: FastifyRequest): string => (typeof body === "string" ? body : "");

/** The text as it came: a signature covers it, and what isn't JSON has to be told to the keeper once the sender is known. */
function parseBodyAsText(app: FastifyInstance): void {
  app.removeContentTypeParser("application/json");
  app.addContentTypeParser("application/json", { parseAs: "string" }, (_request, text, done) => done(null, text));
}
