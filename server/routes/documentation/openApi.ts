import type { FastifyDynamicSwaggerOptions } from "@fastify/swagger";
import { jsonSchemaTransform } from "fastify-type-provider-zod";
import { z } from "zod";
import { linkCloses, linkFrameSchemas, problemSchema } from "../../contract/linkFrames.ts";
import { reportSchema } from "../../contract/report.ts";
import { allowedRoles } from "../rights.ts";
import { noFields } from "../strict.ts";
import { type FeederRefusal, feederRefusals } from "./refusals.ts";
import { type RouteNote, routeNotes } from "./routeNotes.ts";

/** The OpenAPI document: every route under /api/v1, from the very schemas that check what comes in. */
export function openApiOptions(reportsPerMinute: number): FastifyDynamicSwaggerOptions {
  const refusals = feederRefusals(reportsPerMinute);
  return {
    openapi: {
      openapi: "3.1.0",
      info: {
        title: "Pieward",
        version: "1",
        description: "What feeders report and keepers ask. Errors are RFC 9457 problem details.",
      },
      components: { securitySchemes },
    },
    convertConstToEnum: false, // OpenAPI 3.1 knows const
    transform: (document) => documentRoute(document, refusals),
  };
}

const securitySchemes = {
  feederKey: { type: "http", scheme: "bearer", description: "The feeder's key, shown once when it was added." },
  exportKey: { type: "http", scheme: "bearer", description: "An export key, shown once on the account page." },
  session: {
    type: "apiKey",
    in: "cookie",
    name: "pieward_session",
    description: "The cookie of who is signed in. A change also needs the header `x-pieward: 1`.",
  },
} as const;

type Transform = NonNullable<FastifyDynamicSwaggerOptions["transform"]>;
type Document = Parameters<Transform>[0];

/** Every route of the interface is documented, also those whose schemas hide them; no other route is. */
function documentRoute(document: Document, refusals: readonly FeederRefusal[]): ReturnType<Transform> {
  const { url, route, schema } = document;
  if (!url.startsWith("/api/v1/")) return { url, schema: { hide: true } };
  const { hide, ...all } = { ...schema };
  const documented = Object.fromEntries(Object.entries(all).filter(([, part]) => part !== noFields));
  const method = [route.method].flat()[0] ?? "GET";
  const shown = { ...document, schema: documented } as Parameters<typeof jsonSchemaTransform>[0];
  const { schema: transformed } = jsonSchemaTransform(shown);
  const more: Record<string, unknown> = { "x-who-may": roleText(method, url, transformed) };
  const note = routeNotes[`${method} ${url}`];
  if (note !== undefined) Object.assign(more, { summary: note.summary, response: answerResponse(note) });
  if (url === "/api/v1/report") more.response = { ...responses(transformed), ...refusalResponses(refusals, "report") };
  if (url === "/api/v1/link") Object.assign(more, link(refusals));
  return { url, schema: { ...transformed, ...more } as ReturnType<Transform>["schema"] };
}

function roleText(method: string, url: string, schema: unknown): string {
  const { security = [], body } = schema as { security?: readonly object[]; body?: { properties?: object } };
  if (security.some((one) => "feederKey" in one)) return "a feeder, with its key or signature";
  if (!security.some((one) => "session" in one)) return "anybody";
  return allowedRoles(`${method} ${url}`, Object.keys(body?.properties ?? {}));
}

const answerResponse = ({ status, answer }: RouteNote) => ({
  [status]: answer === null ? { type: "null", description: "" } : answer,
});

const responses = (schema: unknown) => (schema as { response?: object }).response ?? {};

/** By status; several refusals of one status are several examples. */
function refusalResponses(refusals: readonly FeederRefusal[], at: "report" | "link"): Record<string, object> {
  const problem = jsonSchemaOf(problemSchema);
  const found: Record<string, { description: string; content: object }> = {};
  for (const status of new Set(refusals.map(({ example }) => example.status))) {
    const ones = refusals.filter((one) => one.example.status === status && (one.at === at || one.at === "both"));
    if (ones.length === 0) continue;
    const examples = Object.fromEntries(
      ones.map(({ name, when, example }) => [name, { summary: when, value: example }]),
    );
    found[status] = {
      description: ones.map(({ when, feederAction }) => `${when} ${feederAction}`).join(" "),
      content: { "application/problem+json": { schema: problem, examples } },
    };
  }
  return found;
}

/** OpenAPI can't describe a socket's frames, so they are in extension fields. */
const link = (refusals: readonly FeederRefusal[]) => ({
  response: {
    101: { type: "null", description: "The socket is open." },
    ...Object.fromEntries(
      Object.entries(refusalResponses(refusals, "link")).filter(([status]) => ["401", "426"].includes(status)),
    ),
  },
  "x-frames-from-feeder": { report: jsonSchemaOf(reportSchema, "input") },
  "x-frames-from-server": Object.fromEntries(
    Object.entries(linkFrameSchemas).map(([name, schema]) => [name, jsonSchemaOf(schema)]),
  ),
  "x-close-codes": linkCloses,
});

const jsonSchemaOf = (schema: z.ZodType, io: "input" | "output" = "output") => {
  const { $schema, ...bare } = z.toJSONSchema(schema, { io, unrepresentable: "any" });
  return bare;
};
