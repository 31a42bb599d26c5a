import type { FastifyInstance } from "fastify";
import type { ZodTypeProvider } from "fastify-type-provider-zod";
import { z } from "zod";
import { historyRequest, historySpanOf } from "../contract/historyRequest.ts";
import { historySource, historyView } from "../flows/history.ts";
import type { Ports } from "../ports.ts";
import { texts } from "../text/index.ts";
import { createTaggedAnswers } from "./entityTag.ts";
import { sendProblem } from "./problems.ts";

/** Some 100 octets each, in memory. */
const answersRemembered = 2_000;

/** What a chart shows of a feeder: any span up to ten years, in at most so many points. */
export function historyRoute(app: FastifyInstance, { store, clock }: Pick<Ports, "store" | "clock">): void {
  const answers = createTaggedAnswers(answersRemembered);
  app
    .withTypeProvider<ZodTypeProvider>()
    .get(
      "/api/v1/feeders/:feeder/history",
      { schema: { hide: true, params: z.object({ feeder: z.string() }), querystring: historyRequest } },
      async (request, reply) => {
        const { feeder } = request.params;
        const noFeeder = () => sendProblem(reply, { status: 404, detail: texts.refusals.noFeeder });
        const now = clock.now();
        const span = historySpanOf(request.query);
        const row = await store.yards.feeder(feeder);
        if (row === null) return noFeeder();
        if (answers.sentNotModified(request, reply, historySource(row, span, now))) return reply;
        const found = await historyView(store, feeder, span, now);
        if (found === null) return noFeeder(); // removed meanwhile
        return answers.send(request, reply, { json: JSON.stringify(found.view), madeFrom: found.madeFrom });
      },
    );
}
