import type { FastifyInstance } from "fastify";
import type { ZodTypeProvider } from "fastify-type-provider-zod";
import { z } from "zod";
import { portionsRequest } from "../contract/portionsView.ts";
import { instantOf } from "../domain/instant.ts";
import { portionsView } from "../flows/portions.ts";
import type { Ports } from "../ports.ts";
import { texts } from "../text/index.ts";
import { sendProblem } from "./problems.ts";

export function portionsRoute(app: FastifyInstance, { store }: Pick<Ports, "store">): void {
  app
    .withTypeProvider<ZodTypeProvider>()
    .get(
      "/api/v1/feeders/:feeder/portions",
      { schema: { hide: true, params: z.object({ feeder: z.string() }), querystring: portionsRequest } },
      async (request, reply) => {
        const { feeder } = request.params;
        const { from, to } = request.query;
        if ((await store.yards.feeder(feeder)) === null) {
          return sendProblem(reply, { status: 404, detail: texts.refusals.noFeeder });
        }
        return portionsView(store.records, feeder, { from: instantOf(from), to: instantOf(to) });
      },
    );
}
