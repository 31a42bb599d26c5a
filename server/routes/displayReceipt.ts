import type { FastifyInstance } from "fastify";
import type { ZodTypeProvider } from "fastify-type-provider-zod";
import { z } from "zod";
import { displayReceiptRequest } from "../contract/api.ts";
import { instantOf } from "../domain/instant.ts";
import { recordDisplayReceipt } from "../flows/escalations.ts";
import type { Ports } from "../ports.ts";
import { texts } from "../text/index.ts";
import { sendProblem } from "./problems.ts";
import { refuseUnknownFields } from "./strict.ts";

/**
 * A phone's service worker confirms that its screen showed a notification. It needs no session, since the person may have signed
 * out meanwhile: only the phone that received the push knows the notification's random id.
 */
export function displayReceiptRoute(app: FastifyInstance, ports: Ports): void {
  refuseUnknownFields(app);
  app.withTypeProvider<ZodTypeProvider>().post(
    "/api/v1/notifications/:item/display-receipt",
    {
      bodyLimit: 1_024,
      config: { rateLimit: { max: 120, timeWindow: "1 minute" } },
      schema: { hide: true, params: z.object({ item: z.string().max(64) }), body: displayReceiptRequest.nullish() },
    },
    async (request, reply) => {
      const stated = request.body?.at ? instantOf(request.body.at) : null;
      const known = await recordDisplayReceipt(ports, request.params.item, stated);
      return known ? reply.status(204).send() : sendProblem(reply, { status: 404, detail: texts.refusals.noNotice });
    },
  );
}
