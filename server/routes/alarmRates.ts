import type { FastifyInstance } from "fastify";
import type { ZodTypeProvider } from "fastify-type-provider-zod";
import { z } from "zod";
import { alarmRatesView } from "../flows/alarmRates.ts";
import type { Ports } from "../ports.ts";
import { texts } from "../text/index.ts";
import { sendProblem } from "./problems.ts";

/** How often a yard's alarms are raised, and what should be changed about that. */
export function alarmRatesRoutes(app: FastifyInstance, { store, clock }: Pick<Ports, "store" | "clock">): void {
  const routes = app.withTypeProvider<ZodTypeProvider>();
  const params = z.object({ yard: z.string() });
  routes.get("/api/v1/yards/:yard/alarm-rates", { schema: { hide: true, params } }, async (request, reply) => {
    const yard = (await store.yards.yards()).find(({ id }) => id === request.params.yard);
    if (!yard) return sendProblem(reply, { status: 404, detail: texts.refusals.noYard });
    const feeders = (await store.yards.feeders()).filter((feeder) => feeder.yard === yard.id);
    return alarmRatesView(store.records, yard, feeders, clock.now());
  });
}
