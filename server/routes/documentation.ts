import type { FastifyInstance } from "fastify";
import type { OpenApi } from "./documentation/openApiShape.ts";
import { documentationPage } from "./documentation/page.ts";
import { style } from "./documentation/style.ts";

/** The interface's documentation: a page for people, and the OpenAPI document that it is made from for tools. */
export function documentationRoutes(app: FastifyInstance, reportsPerMinute: number): void {
  // Made once, when the first reader comes: all routes are known by then, and none changes later.
  let page: string | null = null;
  const text = () => {
    page ??= documentationPage(app.swagger() as unknown as OpenApi, reportsPerMinute);
    return page;
  };
  const requested = { schema: { hide: true } };
  for (const path of ["/api/docs", "/api/docs/"]) {
    app.get(path, requested, (_request, reply) =>
      reply
        .header("content-security-policy", pagePolicy)
        .header("cache-control", "no-cache")
        .type("text/html; charset=utf-8")
        .send(text()),
    );
  }
  app.get("/api/docs/page.css", requested, (_request, reply) =>
    reply.header("cache-control", "no-cache").type("text/css; charset=utf-8").send(style),
  );
  app.get("/api/docs/json", requested, (_request, reply) => reply.send(app.swagger()));
}

/** The page needs its own style sheet and its icon, and nothing that runs. */
const pagePolicy =
  "default-src 'none'; style-src 'self'; img-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";
