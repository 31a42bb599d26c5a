import { subscribe, unsubscribe } from "node:diagnostics_channel";
import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import type { FastifyInstance, RouteOptions } from "fastify";
import { onTestFinished } from "vitest";
import { openTestServer, type TestServer } from "./testServer.ts";

/**
 * Fastify publishes each new instance (fastify.dev, "Hooks", diagnostics channel), so every added route is recorded.
 * @param plant changes the new instance, as a planted fault.
 */
export async function openTestServerWithRoutes(
  plant: (app: FastifyInstance) => void = () => undefined,
): Promise<{ server: TestServer; routes: RouteOptions[] }> {
  const routes: RouteOptions[] = [];
  const watch = (message: unknown) => {
    const { fastify } = message as { readonly fastify: FastifyInstance };
    fastify.addHook("onRoute", (route) => {
      for (const method of [route.method].flat()) routes.push({ ...route, method });
    });
    plant(fastify);
  };
  subscribe("fastify.initialization", watch);
  try {
    return { server: await openTestServer({ clientFolder: someClient() }), routes };
  } finally {
    unsubscribe("fastify.initialization", watch);
  }
}

/** The client's own files are routes too. */
function someClient(): string {
  const folder = mkdtempSync(join(tmpdir(), "pieward-client-"));
  onTestFinished(() => rmSync(folder, { recursive: true, force: true }));
  writeFileSync(join(folder, "index.html"), "<!doctype html><title>Pieward</title>");
  return folder;
}
