import type { FastifyInstance, FastifyRequest } from "fastify";
import type { FeederSockets } from "../adapters/feederSockets.ts";
import { answerSchema, reportBytesMax, reportSchema } from "../contract/report.ts";
import { reportExample } from "../contract/reportExample.ts";
import type { FeederKeys } from "../flows/feederKeys.ts";
import type { Ingest } from "../flows/ingest.ts";
import type { Ports } from "../ports.ts";
import { identify, refuseStranger, senderOf, signs } from "./feederIdentity.ts";
import { linkRoute } from "./feederLink.ts";
import { sendProblem } from "./problems.ts";
import { problemFor, take } from "./takenReport.ts";

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
  reportRoute(app, door);
  linkRoute(app, door);
}

function reportRoute(app: FastifyInstance, door: FeederDoor): void {
  const admitted = new WeakMap<FastifyRequest, string>();
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
      // Whoever has no key need not be listened to for a megabyte.
      preParsing: async (request, reply) => {
        if (signs(request)) return;
        const who = await identify(door, request, "");
        if (who.kind === "stranger") return refuseStranger(reply, who.why);
        admitted.set(request, who.id);
      },
    },
    async (request, reply) => {
      let feeder = admitted.get(request);
      if (feeder === undefined) {
        const who = await identify(door, request, textOf(request)); // a signature covers the body byte for byte
        if (who.kind === "stranger") return refuseStranger(reply, who.why);
        feeder = who.id;
      }
      const outcome = await take(door, feeder, textOf(request), request.log);
      if (outcome.kind !== "answered") return sendProblem(reply, problemFor(outcome));
      return outcome.answer;
    },
  );
}

const textOf = ({ body }: FastifyRequest): string => (typeof body === "string" ? body : "");

/** The text as it came: a signature covers it, and what isn't JSON has to be told to the keeper once the sender is known. */
function keepText(app: FastifyInstance): void {
  app.removeContentTypeParser("application/json");
  app.addContentTypeParser("application/json", { parseAs: "string" }, (_request, text, done) => done(null, text));
}
