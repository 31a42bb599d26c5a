import type { FastifyInstance, FastifyReply, FastifyRequest } from "fastify";
import { answerSchema, reportBytesMax, reportSchema } from "../contract/report.ts";
import { reportExample } from "../contract/reportExample.ts";
import type { BodyBudget, BodyRoom } from "./bodyBudget.ts";
import { identify, refuseStranger, refuseTooOften, signs, tooManyWrongKeys } from "./feederIdentity.ts";
import { linkRoute, tooOften } from "./feederLink.ts";
import { atEnd, endOverload, refuseOverload } from "./overload.ts";
import { sendProblem } from "./problems.ts";
import type { FeederDoor } from "./reportingContext.ts";
import { problemFor, take } from "./takenReport.ts";

/** Where feeders report: one request at a time, or over a socket that also carries orders out at once. */
export async function feederDoor(app: FastifyInstance, door: FeederDoor): Promise<void> {
  keepText(app);
  reportRoute(app, door);
  linkRoute(app, door);
}

function reportRoute(app: FastifyInstance, door: FeederDoor): void {
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
        const bytes = bytesOf(request);
        if (signs(request)) {
          if (!door.limits.readsUnproven(request, bytes)) return refuseTooOften(reply, tooManyWrongKeys, 60);
          return holdBody(door, door.bodies.unproven, request, reply, bytes);
        }
        const who = await identify(door, request, "");
        if (who.kind === "stranger") return refuseStranger(door, request, reply, who.why);
        const wait = door.limits.countReport(who.id);
        if (wait !== null) return refuseTooOften(reply, tooOften(door.reportsPerMinute), wait);
        admitted.set(request, who.id);
        return holdBody(door, door.bodies.proven, request, reply, bytes);
      },
    },
    async (request, reply) => {
      const room = rooms.get(request);
      room?.arrived();
      try {
        let feeder = admitted.get(request);
        if (feeder === undefined) {
          const who = await identify(door, request, textOf(request)); // a signature covers the body byte for byte
          if (who.kind === "stranger") return refuseStranger(door, request, reply, who.why);
          feeder = who.id;
          door.limits.proved(request, feeder);
          const wait = door.limits.countReport(feeder);
          if (wait !== null) return refuseTooOften(reply, tooOften(door.reportsPerMinute), wait);
        }
        const outcome = await take(door, feeder, textOf(request), request.log);
        if (outcome.kind !== "answered") return sendProblem(reply, problemFor(outcome));
        return outcome.answer;
      } finally {
        room?.release();
      }
    },
  );
}

const rooms = new WeakMap<FastifyRequest, BodyRoom>();

/** Keeps room for a body until its report is stored, even where its sender has gone meanwhile: it is still worked on. */
function holdBody(
  door: FeederDoor,
  budget: BodyBudget,
  request: FastifyRequest,
  reply: FastifyReply,
  bytes: number,
): FastifyReply | undefined {
  const noRoom = () => {
    door.overload.refused("report");
    endOverload(request);
  };
  const room = budget.reserve(bytes, noRoom);
  if (room === null) {
    door.overload.refused("report");
    return refuseOverload(reply.header("connection", "close")); // the rest is not read
  }
  rooms.set(request, room);
  atEnd(reply, () => {
    if (request.body === undefined) room.release(); // it never arrived whole
  });
  return undefined;
}

/** What its sender says, up to what is read at all. */
function bytesOf({ headers }: FastifyRequest): number {
  const said = Number(headers["content-length"] ?? reportBytesMax);
  return Number.isFinite(said) ? Math.min(Math.max(said, 0), reportBytesMax) : reportBytesMax;
}

const textOf = ({ body }: FastifyRequest): string => (typeof body === "string" ? body : "");

/** The text as it came: a signature covers it, and what isn't JSON has to be told to the keeper once the sender is known. */
function keepText(app: FastifyInstance): void {
  app.removeContentTypeParser("application/json");
  app.addContentTypeParser("application/json", { parseAs: "string" }, (_request, text, done) => done(null, text));
}
