import { createHash } from "node:crypto";
import { existsSync, readFileSync } from "node:fs";
import { join } from "node:path";
import fastifyStatic from "@fastify/static";
import type { FastifyInstance } from "fastify";
import { sendNotFound } from "./problems.ts";

/** The hash sources of a page's inline scripts, for the content security policy (CSP Level 3, 2.3.1). */
export const scriptHashes = (html: string): readonly string[] =>
  [...html.matchAll(/<script>([\s\S]*?)<\/script>/g)].map(
    ([, script = ""]) => `'sha256-${createHash("sha256").update(script).digest("base64")}'`,
  );

export const shellScriptHashes = (folder: string | null): readonly string[] =>
  folder === null ? [] : scriptHashes(readFileSync(shellPath(folder), "utf8"));

/** @throws Error where nothing was built */
function shellPath(folder: string): string {
  const shell = join(folder, "index.html");
  if (!existsSync(shell)) throw new Error(`expected the built client at ${shell}: run npm run build first`);
  return shell;
}

/** The built phone client. A file with a hash in its name never changes; browsers check every other one each time. */
export async function clientRoutes(app: FastifyInstance, folder: string): Promise<void> {
  shellPath(folder);
  await app.register(fastifyStatic, {
    root: folder,
    index: false,
    cacheControl: false,
    preCompressed: true, // made by the build, smaller than what could be made while a browser waits
    setHeaders(reply, path) {
      reply.header("cache-control", path.includes("/assets/") ? "public, max-age=31536000, immutable" : "no-cache");
    },
  });
  app.get("/", { schema: { hide: true } }, (_request, reply) => reply.sendFile("index.html"));

  // Every other address that a browser opens is a screen of the client.
  app.setNotFoundHandler((request, reply) => {
    const isPage =
      request.method === "GET" && !request.url.startsWith("/api/") && request.headers.accept?.includes("text/html");
    // Not returned: Fastify would wait for the reply as for a promise, with listeners past Node's limit of ten.
    if (isPage) reply.sendFile("index.html");
    else sendNotFound(request, reply);
  });
}
