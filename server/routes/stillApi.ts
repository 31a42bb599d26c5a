import { createHash } from "node:crypto";
import type { FastifyInstance, FastifyReply, FastifyRequest } from "fastify";
import type { ZodTypeProvider } from "fastify-type-provider-zod";
import { z } from "zod";
import { type StillQuery, stillQuery } from "../contract/stillRequest.ts";
import { after, instantOf, minutes } from "../domain/instant.ts";
import { stillBytesMax, stillsADayMax, stillsAMinuteMax } from "../domain/pictures/stillSpace.ts";
import type { Identification } from "../flows/feederKeys.ts";
import { addStill, type StillProblem } from "../flows/stills.ts";
import { texts } from "../text/index.ts";
import { createBodyBudget } from "./bodyBudget.ts";
import {
  identifyFeeder,
  isSigned,
  offerNonce,
  refuseTooOften,
  refuseUnknownSender,
  tooManyWrongKeys,
} from "./feederIdentity.ts";
import { endOverload, onResponseEnd, refuseOverload } from "./overload.ts";
import { type Problem, sendFieldProblem, sendProblem } from "./problems.ts";
import { createRateLimit } from "./rateLimit.ts";
import type { ReportingContext } from "./reportingContext.ts";

type Feeder = Extract<Identification, { kind: "feeder" }>;
const path = "/api/v1/stills";
/** Four of the largest: they wait for the encoder, one at a time. */
const bodyBytesMax = 4 * stillBytesMax;
/** A feeder's clock is set once in a while. */
const clockAhead = minutes(5);

/** Where a feeder's camera sends its stills. A scope of its own: nowhere else of a feeder is a body a picture. */
export async function stillApiRoute(app: FastifyInstance, context: ReportingContext): Promise<void> {
  app.removeAllContentTypeParsers();
  // By any type, also a wrong one: the content decides.
  app.addContentTypeParser("*", { parseAs: "buffer", bodyLimit: stillBytesMax }, (_request, body, done) =>
    done(null, body),
  );
  const senders = createSenders(context);
  app.addHook("onRequest", senders.admit); // before the body is read
  app.withTypeProvider<ZodTypeProvider>().post(
    path,
    {
      bodyLimit: stillBytesMax,
      errorHandler: (error, _request, reply) => {
        if (error.code !== "FST_ERR_CTP_BODY_TOO_LARGE") throw error;
        void sendProblem(reply, pictureProblem(413, texts.stills.tooLarge));
      },
      schema: {
        tags: ["feeders"],
        summary: "Send a still of the feeder's camera",
        description:
          "The body is a JPEG, PNG or WebP picture of at most 512 KiB. `boot` and `seq` name the event that it belongs to, before or after its report. The same feeder, boot and seq again is the same still. A signature covers the word `still`, the query as it is sent, and the SHA-256 of the body in hexadecimal, with a line feed after the first and the second.",
        ...{ body: z.any(), querystring: stillQuery, security: [{ feederKey: [] }], response: { 200: answerSchema } },
      },
    },
    async (request, reply) => {
      const octets = Buffer.isBuffer(request.body) ? request.body : Buffer.alloc(0);
      const feeder = await senders.identify(request, reply, octets);
      return feeder === null ? reply : takeStill(context, feeder, request.query, { octets, reply });
    },
  );
}

const answerSchema = z.strictObject({ stored: z.literal(true) });

/** Who sends: by its key before the body is read, or by a signature that covers it. */
function createSenders(context: ReportingContext) {
  const keySenders = new WeakMap<FastifyRequest, Feeder>();
  const rate = createRateLimit(stillsAMinuteMax, context.ports.clock);
  const reserve = createReservation(context);
  const refuseIfTooOften = (feeder: Feeder, reply: FastifyReply): FastifyReply | undefined => {
    const wait = rate.countOne(feeder.id);
    const detail = texts.stills.tooOften(stillsAMinuteMax);
    return wait === null ? undefined : refuseTooOften(reply, { status: 429, detail }, wait);
  };
  return {
    admit: async (request: FastifyRequest, reply: FastifyReply): Promise<FastifyReply | undefined> => {
      if (isSigned(request)) return reserve(request, reply);
      const who = await identifyFeeder(context, request, "");
      if (who.kind === "unknown") return refuseUnknownSender(context, request, reply, who.reason);
      keySenders.set(request, who);
      return refuseIfTooOften(who, reply) ?? reserve(request, reply);
    },
    /** @returns null where it is refused */
    async identify(request: FastifyRequest, reply: FastifyReply, octets: Buffer): Promise<Feeder | null> {
      const known = keySenders.get(request);
      if (known !== undefined) return known;
      const who = await identifyFeeder(context, request, signedText(request, octets));
      if (who.kind === "unknown") {
        refuseUnknownSender(context, request, reply, who.reason);
        return null;
      }
      context.limits.recordProvenSender(request, who.id);
      return refuseIfTooOften(who, offerNonce(context, reply)) === undefined ? who : null;
    },
  };
}

/** The query too: who sends a still on can't say that it shows another event. */
function signedText({ url }: FastifyRequest, octets: Buffer): string {
  const start = url.indexOf("?");
  const query = start === -1 ? "" : url.slice(start + 1);
  return `still\n${query}\n${createHash("sha256").update(octets).digest("hex")}`;
}

async function takeStill(
  { ports }: ReportingContext,
  feeder: Feeder,
  { boot, seq, at }: StillQuery,
  { octets, reply }: { readonly octets: Buffer; readonly reply: FastifyReply },
): Promise<FastifyReply> {
  const taken = at === undefined ? null : instantOf(at);
  if (taken !== null && taken > after(ports.clock.now(), clockAhead))
    return sendFieldProblem(reply, "at", texts.stills.future);
  const event = boot === undefined || seq === undefined ? null : { boot, seq };
  const problem = await addStill(ports, { feeder: feeder.id, yard: feeder.yard, event, at: taken, picture: octets });
  if (problem === "tooMany")
    return refuseTooOften(reply, { status: 429, detail: texts.stills.tooMany(stillsADayMax) }, 3_600);
  if (problem !== null) return sendProblem(reply, refusalOf(problem));
  ports.liveFeed.announceChange(feeder.yard, feeder.id, null);
  return reply.send({ stored: true });
}

function refusalOf(problem: Exclude<StillProblem, "tooMany">): Problem {
  if (problem === "noFeeder") return { status: 404, detail: texts.refusals.feederRemoved };
  if (problem === "full") return { status: 409, detail: texts.stills.full };
  return pictureProblem(problem === "otherKind" ? 415 : 422, texts.stills[problem]);
}

const pictureProblem = (status: number, why: string): Problem => ({
  ...{ status, detail: texts.refusals.field("picture", why) },
  errors: [{ field: "picture", problem: why }],
});

/** Space for a body until it is answered: of those whose sender is proven, and of those whose signature comes with the body. */
function createReservation({ limits, overload }: ReportingContext) {
  const budgets = { proven: createBodyBudget(bodyBytesMax), unproven: createBodyBudget(bodyBytesMax) };
  return (request: FastifyRequest, reply: FastifyReply): FastifyReply | undefined => {
    const bytes = bodyBytes(request);
    const signed = isSigned(request);
    if (signed && !limits.acceptsUnproven(request, bytes)) return refuseTooOften(reply, tooManyWrongKeys, 60);
    const noSpace = () => {
      overload.recordRefusal("report");
      endOverload(request);
    };
    const reservation = budgets[signed ? "unproven" : "proven"].reserve(bytes, noSpace);
    if (reservation === null) {
      overload.recordRefusal("report");
      return refuseOverload(reply.header("connection", "close")); // the rest is not read
    }
    onResponseEnd(reply, reservation.release);
    request.raw.once("end", reservation.markComplete);
    return undefined;
  };
}

/** The announced length, at most what is read at all. */
function bodyBytes({ headers }: FastifyRequest): number {
  const announced = Number(headers["content-length"] ?? stillBytesMax);
  return Number.isFinite(announced) ? Math.min(Math.max(announced, 0), stillBytesMax) : stillBytesMax;
}
