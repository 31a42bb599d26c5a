import type { Browser } from "playwright-core";
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, it } from "vitest";
import { homeViewFixture, phonesViewFixture } from "../client/viewFixtures.ts";
import { findChromium } from "../support/chromium.ts";
import { launchBrowser } from "./browserPhone.ts";
import { type BuiltClient, copyBuiltClient } from "./builtClient.ts";
import { type FakeServer, startFakeServer } from "./fakeServer.ts";
import { measureFirstScreen } from "./firstScreen.ts";

/** The size and requests of the first screen. Its speed is measured by hand (npm run bench:first-screen). */

const { path: chromiumPath, unlessAbsent } = findChromium();

let client: BuiltClient;
let browser: Browser;
let server: FakeServer;

beforeAll(async () => {
  client = await copyBuiltClient();
  browser = await launchBrowser(chromiumPath as string);
}, 60_000);
afterAll(async () => {
  await browser?.close();
  await client?.remove();
});
beforeEach(async () => {
  server = await startFakeServer(client.folder);
});
afterEach(() => server.close());

/** A connection on which each response arrives late enough to be seen. */
const slowLine = { octetsPerSecond: 200_000, latencyMs: 150, slowdown: 1 };
const phoneSize = { width: 390, height: 844 };
const deskSize = { width: 1280, height: 800 };
const open = (path: string, usable: string, viewport = phoneSize, restMs = 2_000) =>
  measureFirstScreen(browser, server.origin + path, usable, { viewport }, slowLine, restMs);

describe.skipIf(chromiumPath === null)(`the first screen${unlessAbsent}`, () => {
  // Below 0.1 counts as good, https://web.dev/articles/cls; our limit is half of that.
  it("does not shift while it loads", async () => {
    const known = phonesViewFixture(Date.now());
    const reached = { ...known, phones: known.phones };
    const nobody = { ...known, phones: [] };
    for (const viewport of [phoneSize, deskSize]) {
      for (const phones of [reached, nobody]) {
        server.phones = phones;
        for (const [path, usable] of [
          ["/", ".feeder-entry"],
          ["/feeders/rowan", ".day-text"],
          ["/feeders/larch", ".day-text"],
        ] as const) {
          const seen = await open(path, usable, viewport);
          expect.soft(seen.layoutShift, `${viewport.width} ${path}: ${seen.shifted.join("; ")}`).toBeLessThan(0.05);
        }
      }
      server.signedIn = false;
      const seen = await open("/", "input[name=passphrase]", viewport);
      expect.soft(seen.layoutShift, `${viewport.width} sign-in: ${seen.shifted.join("; ")}`).toBeLessThan(0.05);
      server.signedIn = true;
    }
  }, 180_000);

  it("requests the feeders once, without waiting for the program", async () => {
    server.delayMs = (path) => (path.endsWith(".js") ? 1_000 : 0);
    await open("/", ".feeder-entry");
    const requestsOf = (path: RegExp) => server.requests.filter((each) => path.test(each.path));
    const script = requestsOf(/\/assets\/index-.*\.js$/)[0];
    const home = requestsOf(/^\/api\/v1\/home$/);
    expect(home).toHaveLength(1);
    expect((home[0]?.at ?? Infinity) - (script?.at ?? 0)).toBeLessThan(500);
  }, 60_000);

  it("requests a feeder's screen together with the program, not after it", async () => {
    server.delayMs = (path) => (path.includes("/assets/index-") ? 1_000 : 0);
    await open("/feeders/rowan", ".hopper-section");
    const script = server.requests.find((each) => /\/assets\/index-.*\.js$/.test(each.path));
    const screen = server.requests.find((each) => /\/assets\/feederScreen-.*\.js$/.test(each.path));
    expect((screen?.at ?? Infinity) - (script?.at ?? 0)).toBeLessThan(500);
  }, 60_000);

  it("comes before the worker and its own downloads", async () => {
    for (const [path, usable, late] of [
      ["/", ".feeder-entry", /\/(home|phones)$/],
      ["/feeders/rowan", ".day-text", /\/day$/],
    ] as const) {
      server.delayMs = (each) => (late.test(each) ? 1_500 : 0);
      const before = server.requests.length;
      await open(path, usable, phoneSize, 8_000);
      const requests = server.requests.slice(before);
      const worker = requests.find((each) => each.path === "/worker.js");
      const last = requests.filter((each) => late.test(each.path)).at(-1);
      expect(worker, "the worker comes all the same").toBeDefined();
      expect((worker?.at ?? 0) - (last?.at ?? Infinity), path).toBeGreaterThan(1_500);
    }
  }, 60_000);

  it("needs at most 49 kB, in few requests", async () => {
    server.home = homeViewFixture(Date.now());
    const { octets, requests } = await open("/", ".feeder-entry");
    expect(octets).toBeLessThan(49_000); // of it 11 kB of prepared responses; the program alone was 46 kB before it was split
    expect(octets).toBeGreaterThan(10_000); // and the measure measures something
    expect(server.requests.filter(({ path }) => path === "/api/v1/phones")).toHaveLength(1); // nor again once it is usable
    expect(requests.length).toBeLessThanOrEqual(7);
  }, 60_000);
});
