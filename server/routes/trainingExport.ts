import { Readable } from "node:stream";
import type { FastifyInstance } from "fastify";
import type { ZodTypeProvider } from "fastify-type-provider-zod";
import { z } from "zod";
import { type ExportTable, exportTableNames } from "../domain/training/exportColumns.ts";
import { archiveEntries, fileFormats, trainingDictionary, trainingFile } from "../flows/trainingArchive.ts";
import type { Ports } from "../ports.ts";
import { texts } from "../text/index.ts";
import { sendProblem } from "./problems.ts";

const params = z.object({ yard: z.string() });
const query = z.strictObject({
  table: z.enum(exportTableNames as [ExportTable, ...ExportTable[]]),
  format: z.enum(fileFormats).default("csv"),
});
const licenceQuery = z.strictObject({ licence: z.string().max(200).optional() });
const path = "/api/v1/yards/:yard/training/export";

/** The training record as files: a table each, a dictionary that says what their columns mean, and all of it as one archive. */
export function trainingExportRoutes(app: FastifyInstance, ports: Ports): void {
  const routes = app.withTypeProvider<ZodTypeProvider>();
  const yardOf = async (id: string) => (await ports.store.yards.yards()).find((yard) => yard.id === id);

  routes.get(path, { schema: { hide: true, params, querystring: query } }, async (request, reply) => {
    const { table, format } = request.query;
    const yard = await yardOf(request.params.yard);
    if (yard === undefined) return sendProblem(reply, { status: 404, detail: texts.refusals.noYard });
    return reply
      .header("content-type", format === "csv" ? "text/csv; charset=utf-8; header=present" : "application/x-ndjson")
      .header("content-disposition", `attachment; filename="${table}.${format}"`)
      .send(Readable.from(trainingFile(ports, yard, table, format)));
  });

  routes.get(
    `${path}/archive`,
    { schema: { hide: true, params, querystring: licenceQuery } },
    async (request, reply) => {
      const yard = await yardOf(request.params.yard);
      if (yard === undefined) return sendProblem(reply, { status: 404, detail: texts.refusals.noYard });
      const entries = archiveEntries(ports, yard, request.query.licence ?? null);
      return reply
        .type("application/zip")
        .header("content-disposition", 'attachment; filename="training-record.zip"')
        .send(Readable.from(ports.archives.write(entries), { objectMode: false }));
    },
  );

  routes.get(`${path}/dictionary`, { schema: { hide: true, params, querystring: licenceQuery } }, async (request) =>
    trainingDictionary(ports.clock.now(), request.query.licence ?? null),
  );
}
