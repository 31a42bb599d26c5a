import type { FastifyInstance, FastifyReply, FastifyRequest } from "fastify";
import { answerSchema, reportBytesMax, reportSchema } from "../contract/report.ts";
import { reportExample } from "../contract/reportExample.ts";
import type { BodyBudget, BodyReservation } from "./bodyBudget.ts";
import {
  identifyFeeder,
  isSigned,
  offerNonce,
  refuseTooOften,
  refuseUnknownSender,
  tooManyWrongKeys,
} from "./feederIdentity.ts";
import { linkRoute, tooManyReportsProblem } from "./feederLink.ts";
import { ingestReport, outcomeProblem } from "./ingestReport.ts";
import { endOverload, onResponseEnd, refuseOverload } from "./overload.ts";
import { sendProblem } from "./problems.ts";
import type { ReportingContext } from "./reportingContext.ts";

/** Where feeders report: one request at a time, or over a socket that also carries orders out at once. */
export async function feederApiRoutes(app: FastifyInstance, context: ReportingContext): Promise<void> {
  parseBodyAsText(app);
  reportRoute(app, context);
  linkRoute(app, context);
}

function reportRoute(app: FastifyInstance, context: ReportingContext): void {
  app.post(
    "/api/v1/report",
    {
      bodyLimit: reportBytesMax,
      // The schema is here for the documentation: reading must refuse one bad event without the report, so it is ours.
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
      preParsing: (request, reply) => admitSender(context, request, reply),
    },
    async (request, reply) => {
      const reservation = reservations.get(request);
      reservation?.markComplete();
      try {
        const feeder = keySenders.get(request) ?? (await signingFeeder(context, request, reply));
        if (feeder === null) return reply;
        const outcome = await ingestReport(context, feeder, bodyText(request), request.log);
        return outcome.kind === "answered" ? outcome.answer : sendProblem(reply, outcomeProblem(outcome));
      } finally {
        reservation?.release();
      }
    },
  );
}

/** Feeders that were identified by their key, before the body was read. */
const keySenders = new WeakMap<FastifyRequest, string>();

/** Before the body is read: nobody without a key makes the server read a megabyte. @returns the reply where it is refused */
async function admitSender(
  context: ReportingContext,
  request: FastifyRequest,
  reply: FastifyReply,
): Promise<FastifyReply | undefined> {
  const bytes = bodyBytes(request);
  if (isSigned(request)) {
    if (!context.limits.acceptsUnproven(request, bytes)) return refuseTooOften(reply, tooManyWrongKeys, 60);
    return reserveBody(context, context.bodies.unproven, request, reply, bytes);
  }
  const who = await identifyFeeder(context, request, "");
  if (who.kind === "unknown") return refuseUnknownSender(context, request, reply, who.reason);
  const wait = context.limits.countReport(who.id);
  if (wait !== null) return refuseTooOften(reply, tooManyReportsProblem(context.reportsPerMinute), wait);
  keySenders.set(request, who.id);
  return reserveBody(context, context.bodies.proven, request, reply, bytes);
}

/** A signature covers the body byte for byte, so it is checked after the body is read. @returns null where it is refused */
async function signingFeeder(
  context: ReportingContext,
  request: FastifyRequest,
  reply: FastifyReply,
): Promise<string | null> {
  const who = await identifyFeeder(context, request, bodyText(request));
  if (who.kind === "unknown") {
    refuseUnknownSender(context, request, reply, who.reason);
    return null;
  }
  context.limits.recordProvenSender(request, who.id);
  offerNonce(context, reply);
  const wait = context.limits.countReport(who.id);
  if (wait === null) return who.id;
  refuseTooOften(reply, tooManyReportsProblem(context.reportsPerMinute), wait);
  return null;
}

const reservations = new WeakMap<FastifyRequest, BodyReservation>();

/** Reserves space for a body until its report is stored, even if its sender has disconnected: the work goes on. */
function reserveBody(
  context: ReportingContext,
  budget: BodyBudget,
  request: FastifyRequest,
  reply: FastifyReply,
  bytes: number,
): FastifyReply | undefined {
  const noSpace = () => {
    context.overload.recordRefusal("report");
    endOverload(request);
  };
  const reservation = budget.reserve(bytes, noSpace);
  if (reservation === null) {
    context.overload.recordRefusal("report");
    return refuseOverload(reply.header("connection", "close")); // the rest is not read
  }
  reservations.set(request, reservation);
  onResponseEnd(reply, () => {
    if (request.body === undefined) reservation.release(); // it never arrived completely
  });
  return undefined;
}

/** The announced length, at most what is read at all. */
function bodyBytes({ headers }: FastifyRequest): number {
  const request = Number(headers["content-length"] ?? reportBytesMax);
  return Number.isFinite(request) ? Math.min(Math.max(request, 0), reportBytesMax) : reportBytesMax;
}

const bodyText = ({ body }: FastifyRequest): string => (typeof body === "string" ? body : "");

/** As text: a signature covers it, and a body that isn't JSON is shown to the keeper once the sender is known. */
function parseBodyAsText(app: FastifyInstance): void {
  app.removeContentTypeParser("application/json");
  app.addContentTypeParser("application/json", { parseAs: "string" }, (_request, text, done) => done(null, text));
}
