import type { FastifyInstance } from "fastify";
import type { ZodTypeProvider } from "fastify-type-provider-zod";
import { z } from "zod";
import { settingsComparisonRequest } from "../contract/api.ts";
import { settingsComparison } from "../flows/settingsComparison.ts";
import type { Ports } from "../ports.ts";
import { texts } from "../text/index.ts";
import { onResponseEnd } from "./overload.ts";
import { type Problem, sendProblem } from "./problems.ts";

/** What would have rung with other settings. It changes nothing, and ends when nobody waits for its answer any more. */
export function settingsComparisonRoute(app: FastifyInstance, ports: Ports): void {
  app
    .withTypeProvider<ZodTypeProvider>()
    .post(
      "/api/v1/feeders/:feeder/settings/comparison",
      { schema: { hide: true, params: z.object({ feeder: z.string() }), body: settingsComparisonRequest } },
      async (request, reply) => {
        const row = await ports.store.yards.feeder(request.params.feeder);
        if (!row) return sendProblem(reply, { status: 404, detail: texts.refusals.noFeeder });
        const leaving = new AbortController();
        onResponseEnd(reply, () => leaving.abort());
        const { settings: change, days: daysBack = daysUsual } = request.body;
        const outcome = await settingsComparison(ports, row, { change, daysBack }, leaving.signal);
        if (outcome.kind === "compared") return outcome.view;
        if (outcome.kind === "busy") reply.header("retry-after", "20");
        return sendProblem(reply, problems[outcome.kind]);
      },
    );
}

const daysUsual = 30;

const problems: Readonly<Record<"busy" | "tookTooLong" | "tookTooMuchMemory" | "cancelled", Problem>> = {
  busy: { status: 429, detail: texts.refusals.comparisonBusy },
  tookTooLong: { status: 422, detail: texts.refusals.comparisonTooLong },
  tookTooMuchMemory: { status: 422, detail: texts.refusals.comparisonTooLarge },
  cancelled: { status: 503, detail: texts.refusals.comparisonCancelled }, // the server is closing, or nobody reads it
};
