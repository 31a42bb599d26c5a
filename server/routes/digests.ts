import type { FastifyInstance, FastifyReply } from "fastify";
import type { ZodTypeProvider } from "fastify-type-provider-zod";
import { z } from "zod";
import { digestsKept } from "../contract/api.ts";
import { digestView } from "../flows/digestViews.ts";
import type { Ports } from "../ports.ts";
import { texts } from "../text/index.ts";
import { sendProblem } from "./problems.ts";

/** A yard's digests, today's and those of the last days. */
export function digestRoutes(app: FastifyInstance, ports: Ports): void {
  const routes = app.withTypeProvider<ZodTypeProvider>();
  const params = z.object({ yard: z.string() });
  const query = z.strictObject({ date: z.iso.date(texts.refusals.dateExpected).optional() });
  const none = (reply: FastifyReply, detail: string) => sendProblem(reply, { status: 404, detail });

  routes.get(
    "/api/v1/yards/:yard/digest",
    { schema: { hide: true, params, querystring: query } },
    async (request, reply) => {
      const { yard } = request.params;
      const dates = await ports.store.digests.dates(yard, digestsKept);
      const date = request.query.date ?? dates[0];
      if (date === undefined) return none(reply, texts.refusals.noDigest);
      const digest = await ports.store.digests.digest(yard, date);
      return digest === null ? none(reply, texts.refusals.noDigestOf(date)) : digestView(yard, digest, dates);
    },
  );
}
