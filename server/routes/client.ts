import { existsSync } from "node:fs";
import { join } from "node:path";
import fastifyStatic from "@fastify/static";
import type { FastifyInstance } from "fastify";
import { nothingHere } from "./problems.ts";

/** The built phone client. What has its hash in its name never changes; everything else is asked for anew. */
export async function clientRoutes(app: FastifyInstance, folder: string): Promise<void> {
  const shell = join(folder, "index.html");
  if (!existsSync(shell)) throw new Error(`expected the built client at ${shell}: run npm run build first`);

  await app.register(fastifyStatic, {
    root: folder,
    index: false,
    cacheControl: false,
    setHeaders(reply, path) {
      reply.header("cache-control", path.includes("/assets/") ? "public, max-age=31536000, immutable" : "no-cache");
    },
  });
  app.get("/", { schema: { hide: true } }, (_request, reply) => reply.sendFile("index.html"));

  // Every other address that a browser opens is a place inside the client.
  app.setNotFoundHandler((request, reply) => {
    const isPage =
      request.method === "GET" && !request.url.startsWith("/api/") && request.headers.accept?.includes("text/html");
    if (isPage) return reply.sendFile("index.html");
    return nothingHere(request, reply);
  });
}
