import { Readable } from "node:stream";
import type { FastifyInstance } from "fastify";
import type { ZodTypeProvider } from "fastify-type-provider-zod";
import { z } from "zod";
import { isoOf } from "../domain/instant.ts";
import {
  csvLine,
  type ExportTable,
  exportColumns,
  exportTableNames,
  jsonLine,
} from "../domain/training/exportColumns.ts";
import { trainingRows } from "../flows/trainingExport.ts";
import type { Ports } from "../ports.ts";
import { texts } from "../text/index.ts";
import { inBlocks } from "./inBlocks.ts";
import { sendProblem } from "./problems.ts";

const params = z.object({ yard: z.string() });
const query = z.strictObject({
  table: z.enum(exportTableNames as [ExportTable, ...ExportTable[]]),
  format: z.enum(["csv", "jsonl"]).default("csv"),
});
const dictionaryQuery = z.strictObject({ licence: z.string().max(200).optional() });
const path = "/api/v1/yards/:yard/training/export";

/** The training record as files: a table each, and a dictionary that says what their columns mean. */
export function trainingExportRoutes(app: FastifyInstance, ports: Ports): void {
  const routes = app.withTypeProvider<ZodTypeProvider>();

  routes.get(path, { schema: { hide: true, params, querystring: query } }, async (request, reply) => {
    const { table, format } = request.query;
    const yard = (await ports.store.yards.yards()).find(({ id }) => id === request.params.yard);
    if (yard === undefined) return sendProblem(reply, { status: 404, detail: texts.refusals.noYard });
    return reply
      .header("content-type", format === "csv" ? "text/csv; charset=utf-8; header=present" : "application/x-ndjson")
      .header("content-disposition", `attachment; filename="${table}.${format}"`)
      .send(Readable.from(inBlocks(fileLines(table, format, trainingRows(ports, yard, table)))));
  });

  routes.get(
    `${path}/dictionary`,
    { schema: { hide: true, params, querystring: dictionaryQuery } },
    async (request) => ({
      exportedAt: isoOf(ports.clock.now()),
      licence: request.query.licence ?? null,
      tables: dictionary,
    }),
  );
}

const dictionary = Object.fromEntries(
  exportTableNames.map((table) => [
    table,
    exportColumns[table].map((name) => ({ name, ...texts.trainingExport.column(table, name) })),
  ]),
);

async function* fileLines(
  table: ExportTable,
  format: "csv" | "jsonl",
  rows: ReturnType<typeof trainingRows>,
): AsyncGenerator<string> {
  if (format === "csv") yield csvLine(exportColumns[table]);
  for await (const row of rows) yield format === "csv" ? csvLine(row) : jsonLine(table, row);
}
