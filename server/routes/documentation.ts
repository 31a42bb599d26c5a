import { brotliCompressSync, constants } from "node:zlib";
import type { FastifyInstance, FastifyReply, FastifyRequest } from "fastify";
import type { OpenApi } from "./documentation/openApiShape.ts";
import { documentationPage } from "./documentation/page.ts";
import { style } from "./documentation/style.ts";

/** The interface's documentation: a page for people, and the OpenAPI document that it is made from for tools. */
export function documentationRoutes(app: FastifyInstance, reportsPerMinute: number): void {
  // All routes are known when the first reader comes, and none changes later.
  const page = memoizedPage(() => documentationPage(app.swagger() as unknown as OpenApi, reportsPerMinute));
  const document = memoizedPage(() => JSON.stringify(app.swagger()));
  const schema = { hide: true };
  for (const path of ["/api/docs", "/api/docs/"]) {
    app.get(path, { schema }, (request, reply) =>
      page.send(
        request,
        reply
          .header("content-security-policy", pagePolicy)
          .header("cache-control", "no-cache")
          .type("text/html; charset=utf-8"),
      ),
    );
  }
  app.get("/api/docs/page.css", { schema }, (_request, reply) =>
    reply.header("cache-control", "no-cache").type("text/css; charset=utf-8").send(style),
  );
  app.get("/api/docs/json", { schema }, (request, reply) =>
    document.send(request, reply.type("application/json; charset=utf-8")),
  );
}

/** Made and compressed for the first reader and stored: compressing it for each of many readers at once took 40 MB. */
function memoizedPage(make: () => string) {
  let content: { readonly plain: Buffer; readonly brotli: Buffer } | null = null;
  const compress = () => {
    const plain = Buffer.from(make());
    return { plain, brotli: brotliCompressSync(plain, { params: { [constants.BROTLI_PARAM_QUALITY]: 6 } }) };
  };
  return {
    send({ headers }: FastifyRequest, reply: FastifyReply): FastifyReply {
      content ??= compress();
      reply.header("vary", "accept-encoding");
      const acceptsBrotli = /\bbr\b(?!\s*;\s*q=0(\.0*)?\s*(,|$))/.test(headers["accept-encoding"] ?? "");
      return acceptsBrotli ? reply.header("content-encoding", "br").send(content.brotli) : reply.send(content.plain);
    },
  };
}

/** The page needs its own style sheet and its icon, and nothing that runs. */
const pagePolicy =
  "default-src 'none'; style-src 'self'; img-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";
