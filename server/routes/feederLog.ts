import { Readable } from "node:stream";
import type { FastifyInstance } from "fastify";
import type { ZodTypeProvider } from "fastify-type-provider-zod";
import { z } from "zod";
import { feederLog } from "../flows/feederLog.ts";
import { inBlocks } from "../flows/pure/inBlocks.ts";
import type { Ports } from "../ports.ts";
import { texts } from "../text/index.ts";
import { sendProblem } from "./problems.ts";

/** A feeder's whole record as a file, for keeping and for `npm run replay`. It leaves as fast as it is taken. */
export function feederLogRoute(app: FastifyInstance, ports: Ports): void {
  app.withTypeProvider<ZodTypeProvider>().get(
    "/api/v1/feeders/:feeder/log",
    {
      schema: {
        tags: ["keeper"],
        summary: "All that a feeder reported and what was done about it, a JSON value a line",
        params: z.object({ feeder: z.string() }),
      },
    },
    async (request, reply) => {
      const row = await ports.store.yards.feeder(request.params.feeder);
      if (!row) return sendProblem(reply, { status: 404, detail: texts.refusals.noFeeder });
      const lines = feederLog(ports.store.records, row);
      return reply
        .header("content-type", "application/x-ndjson")
        .header("content-disposition", `attachment; filename="${row.id}.ndjson"`)
        .send(Readable.from(inBlocks(lines)));
    },
  );
}
