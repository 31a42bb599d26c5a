import { createHash } from "node:crypto";
import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { brotliCompressSync, brotliDecompressSync, gunzipSync, gzipSync } from "node:zlib";
import { describe, expect, it, onTestFinished } from "vitest";
import { openTestServer } from "../support/testServer.ts";

const script = "globalThis.early = 1";
const page = `<!doctype html><script>${script}</script><script type="module" src="/assets/index-abc.js"></script>`;

/** A small client with the same files as a built one. */
async function serverWithClient() {
  const clientFolder = mkdtempSync(join(tmpdir(), "pieward-client-files-"));
  onTestFinished(() => rmSync(clientFolder, { recursive: true, force: true }));
  mkdirSync(join(clientFolder, "assets"));
  for (const [path, content] of [
    ["index.html", page],
    ["assets/index-abc.js", "console.log('the program')"],
    ["worker.js", "self.skipWaiting"],
  ] as const) {
    writeFileSync(join(clientFolder, path), content);
    writeFileSync(join(clientFolder, `${path}.br`), brotliCompressSync(content));
    writeFileSync(join(clientFolder, `${path}.gz`), gzipSync(content));
  }
  return openTestServer({ clientFolder });
}

describe("the client's files", () => {
  it.each([
    ["br, gzip", "br", brotliDecompressSync],
    ["gzip", "gzip", gunzipSync],
    ["identity", undefined, (content: Buffer) => content],
  ] as const)("are handed out as the browser takes them: %s", async (taken, encoding, decode) => {
    const { app } = await serverWithClient();
    for (const [url, type, cache, content] of [
      ["/assets/index-abc.js", /javascript/, "public, max-age=31536000, immutable", "console.log('the program')"],
      ["/worker.js", /javascript/, "no-cache", "self.skipWaiting"],
      ["/", /^text\/html; charset=utf-8$/, "no-cache", page],
      ["/feeders/rowan", /^text\/html; charset=utf-8$/, "no-cache", page],
    ] as const) {
      const headers = { "accept-encoding": taken, accept: "text/html" };
      const answer = await app.inject({ method: "GET", url, headers });
      expect(answer.statusCode, url).toBe(200);
      expect(answer.headers["content-encoding"], url).toBe(encoding);
      expect(answer.headers["content-type"], url).toMatch(type);
      expect(answer.headers["cache-control"], url).toBe(cache);
      expect(answer.headers.vary, url).toMatch(/accept-encoding/i);
      expect(decode(answer.rawPayload).toString(), url).toBe(content);
    }
  });

  it("are sent without a warning of Node about too many listeners, over a real connection", async () => {
    const { app } = await serverWithClient();
    const warnings: string[] = [];
    const add = (warning: Error) => void warnings.push(warning.message);
    process.on("warning", add);
    onTestFinished(() => void process.off("warning", add));
    const address = await app.listen({ port: 0, host: "127.0.0.1" });
    for (const path of ["/", "/feeders/rowan", "/worker.js"]) {
      const answer = await fetch(`${address}${path}`, { headers: { accept: "text/html" } });
      expect(answer.status, path).toBe(200);
      await answer.text();
    }
    await new Promise((resolve) => setImmediate(resolve)); // warnings are emitted on the next tick
    expect(warnings).toEqual([]);
  });

  it("come with a policy that allows the one script within the page, by its hash, and no other", async () => {
    const { app } = await serverWithClient();
    const policy = String((await app.inject({ url: "/" })).headers["content-security-policy"]);
    const hash = createHash("sha256").update(script).digest("base64");
    expect(policy).toContain(`script-src 'self' 'sha256-${hash}'`);
    expect(policy).not.toMatch(/unsafe|\*/);
  });
});
