import type { Browser } from "playwright-core";
import { afterAll, beforeAll, describe, it, type TestContext } from "vitest";
import { homeViewFixture, phonesViewFixture } from "../client/viewFixtures.ts";
import { findChromium } from "../support/chromium.ts";
import { launchBrowser } from "./browserPhone.ts";
import { type BuiltClient, copyBuiltClient } from "./builtClient.ts";
import { type FakeServer, startFakeServer } from "./fakeServer.ts";
import { measureFirstScreen, type Rest } from "./firstScreen.ts";

/** The size and requests of the first screen. Its speed is measured by hand (npm run bench:first-screen). */

const { path: chromiumPath, unlessAbsent } = findChromium();

let client: BuiltClient;
let browser: Browser;

beforeAll(async () => {
  client = await copyBuiltClient();
  browser = await launchBrowser(chromiumPath as string);
}, 60_000);
afterAll(async () => {
  await browser?.close();
  await client?.remove();
});

/** A connection on which each response arrives late enough to be seen. */
const slowLine = { octetsPerSecond: 200_000, latencyMs: 150, slowdown: 1 };
const phoneSize = { width: 390, height: 844 };
const deskSize = { width: 1280, height: 800 };

/** A server of its own for each test, since the tests run at the same time: they mostly wait for the slow connection. */
async function startServer({ onTestFinished }: TestContext): Promise<FakeServer> {
  const server = await startFakeServer(client.folder);
  onTestFinished(() => server.close());
  return server;
}

const open = (server: FakeServer, path: string, usable: string, viewport = phoneSize, rest: Rest = 2_000) =>
  measureFirstScreen(browser, server.origin + path, usable, { viewport }, slowLine, rest);

describe.skipIf(chromiumPath === null)(`the first screen${unlessAbsent}`, { concurrent: true }, () => {
  const known = phonesViewFixture(Date.now());
  const [reached, nobody] = [known, { ...known, phones: [] }];
  const screens = [
    ["/", ".feeder-entry"],
    ["/feeders/rowan", ".day-text"],
    ["/feeders/larch", ".day-text"],
  ] as const;
  const cases = [phoneSize, deskSize].flatMap((viewport) => [
    { viewport, what: "with phones", phones: reached, screens },
    { viewport, what: "without a phone", phones: nobody, screens },
    { viewport, what: "signed out", phones: null, screens: [["/", "input[name=passphrase]"]] as const },
  ]);

  // Below 0.1 counts as good, https://web.dev/articles/cls; our limit is half of that.
  it.for(cases)(
    "does not shift while it loads ($viewport.width wide, $what)",
    { timeout: 180_000 },
    async ({ viewport, phones, screens }, test) => {
      const server = await startServer(test);
      if (phones === null) server.signedIn = false;
      else server.phones = phones;
      for (const [path, usable] of screens) {
        const seen = await open(server, path, usable, viewport);
        test.expect.soft(seen.layoutShift, `${path}: ${seen.shifted.join("; ")}`).toBeLessThan(0.05);
      }
    },
  );

  it("requests the feeders once, without waiting for the program", async (test) => {
    const { expect } = test;
    const server = await startServer(test);
    server.delayMs = (path) => (path.endsWith(".js") ? 4_000 : 0);
    await open(server, "/", ".feeder-entry");
    const requestsOf = (path: RegExp) => server.requests.filter((each) => path.test(each.path));
    const script = requestsOf(/\/assets\/index-.*\.js$/)[0];
    const home = requestsOf(/^\/api\/v1\/home$/);
    expect(home).toHaveLength(1);
    expect((home[0]?.at ?? Infinity) - (script?.at ?? 0)).toBeLessThan(2_000);
  }, 60_000);

  it("requests a feeder's screen together with the program, not after it", async (test) => {
    const { expect } = test;
    const server = await startServer(test);
    server.delayMs = (path) => (path.includes("/assets/index-") ? 4_000 : 0); // so that a busy machine isn't taken for a wait
    await open(server, "/feeders/rowan", ".hopper-section");
    const script = server.requests.find((each) => /\/assets\/index-.*\.js$/.test(each.path));
    const screen = server.requests.find((each) => /\/assets\/feederScreen-.*\.js$/.test(each.path));
    expect((screen?.at ?? Infinity) - (script?.at ?? 0)).toBeLessThan(2_000);
  }, 60_000);

  it.for([
    ["/", ".feeder-entry", /\/(home|phones)$/],
    ["/feeders/rowan", ".day-text", /\/day$/],
  ] as const)(
    "comes before the worker and its own downloads (%s)",
    { timeout: 60_000 },
    async ([path, usable, late], test) => {
      const { expect } = test;
      const server = await startServer(test);
      server.delayMs = (each) => (late.test(each) ? 1_500 : 0);
      const worker = () => server.requests.find((each) => each.path === "/worker.js");
      const observeMs = 2_000; // also what is requested after the worker
      await open(server, path, usable, phoneSize, () => performance.now() - (worker()?.at ?? Infinity) > observeMs);
      const last = server.requests.filter((each) => late.test(each.path)).at(-1);
      expect(worker(), "the worker comes all the same").toBeDefined();
      expect((worker()?.at ?? 0) - (last?.at ?? Infinity), path).toBeGreaterThan(1_500);
    },
  );

  it("needs at most 53 kB, in few requests", async (test) => {
    const { expect } = test;
    const server = await startServer(test);
    server.home = homeViewFixture(Date.now());
    const { octets, requests } = await open(server, "/", ".feeder-entry");
    expect(octets).toBeLessThan(53_000); // of it 11 kB of prepared responses; the program alone was 46 kB before it was split
    expect(octets).toBeGreaterThan(10_000); // and the measure measures something
    expect(server.requests.filter(({ path }) => path === "/api/v1/phones")).toHaveLength(1); // nor again once it is usable
    expect(requests.length).toBeLessThanOrEqual(7);
  }, 60_000);
});
