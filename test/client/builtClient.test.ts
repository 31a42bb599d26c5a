import { execFile } from "node:child_process";
import { mkdtemp, readdir, readFile, rm } from "node:fs/promises";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { promisify } from "node:util";
import { gzipSync } from "node:zlib";
import { AxeBuilder } from "@axe-core/playwright";
import { type Browser, type BrowserContext, chromium, type Page } from "playwright-core";
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, it } from "vitest";
import { findChromium } from "../support/chromium.ts";
import { homeView } from "./cannedViews.ts";
import { type FakeServer, startFakeServer } from "./fakeServer.ts";

/** The client as it is delivered, in a real browser, under the real content policy. */

const { path: chromiumPath, unlessAbsent } = findChromium();

let folder: string;
let browser: Browser;
let server: FakeServer;
let context: BrowserContext;
let page: Page;
let complaints: string[];

beforeAll(async () => {
  folder = await mkdtemp(join(tmpdir(), "pieward-client-"));
  // In a process of its own: a test runner's NODE_ENV would give a build for development.
  await promisify(execFile)(
    process.execPath,
    ["node_modules/vite/bin/vite.js", "build", "--outDir", folder, "--logLevel", "error"],
    { cwd: fileURLToPath(new URL("../..", import.meta.url)), env: { ...process.env, NODE_ENV: "production" } },
  );
  browser = await chromium.launch({
    executablePath: chromiumPath as string,
    args: [
      "--headless",
      "--no-sandbox",
      "--disable-gpu",
      "--disable-quic",
      "--no-first-run",
      "--disable-background-networking",
      "--disable-component-update",
      "--disable-sync",
    ],
  });
}, 60_000);
afterAll(async () => {
  await browser?.close();
  await rm(folder, { recursive: true, force: true });
});

beforeEach(async () => {
  server = await startFakeServer(folder);
  await open();
});
afterEach(async () => {
  await context.close();
  await server.close();
});

async function open(options: Parameters<Browser["newContext"]>[0] = {}) {
  context = await browser.newContext({
    viewport: { width: 390, height: 844 },
    timezoneId: "Europe/Stockholm",
    ...options,
  });
  page = await context.newPage();
  complaints = [];
  page.on("console", (message) => {
    if (message.type() === "error") complaints.push(message.text());
  });
  page.on("pageerror", (error) => complaints.push(error.message));
}

const pages = [
  "/",
  "/feeders/larch",
  "/feeders/practice-rowan",
  "/feeders/rowan/days",
  "/feeders/rowan/refill",
  "/feeders/rowan/settings",
  "/feeders/new",
  "/yards/alder-croft",
  "/phones",
  "/practice",
  "/cautions",
];

describe.skipIf(chromiumPath === null)(`the built client${unlessAbsent}`, () => {
  it("stays small enough for a weak rural line", async () => {
    let octets = 0;
    for (const name of await readdir(join(folder, "assets")))
      octets += gzipSync(await readFile(join(folder, "assets", name))).length;
    expect(octets).toBeLessThan(48_000); // a first opening in about 4 s at 100 kbit/s; common practice, no source
    expect(octets).toBeGreaterThan(10_000); // and the measure measures something
  });

  it("carries nothing that checks what comes in: that is the server's", async () => {
    for (const name of await readdir(join(folder, "assets"))) {
      expect(await readFile(join(folder, "assets", name), "utf8")).not.toMatch(/ZodError|must be 8 to 64 letters/);
    }
  });

  // WCAG 2.2, 1.4.10: no scrolling sideways at 320 CSS pixels.
  it("lives under the strict content policy, and fits the narrowest phone, on every page", async () => {
    await page.setViewportSize({ width: 320, height: 640 });
    for (const path of pages) {
      await page.goto(server.origin + path);
      await page.getByRole("heading", { level: 1 }).waitFor();
      await page.waitForLoadState("networkidle");
      const wide = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
      expect.soft(wide, path).toBeLessThanOrEqual(0);
    }
    expect(complaints).toEqual([]);
  }, 60_000);

  it.each(["light", "dark"] as const)(
    "has no finding of the accessibility checker, %s",
    async (colorScheme) => {
      await context.close();
      await open({ colorScheme });
      for (const path of colorScheme === "light" ? pages : pages.slice(0, 3)) {
        await page.goto(server.origin + path);
        await page.getByRole("heading", { level: 1 }).waitFor();
        await page.waitForLoadState("networkidle");
        for (const summary of await page.locator("summary").all()) await summary.click();
        const { violations } = await new AxeBuilder({ page })
          .withTags(["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"])
          .analyze();
        expect
          .soft(
            violations.map(
              ({ id, nodes }) => `${path} ${id}: ${nodes.map((node) => node.target.join(" ")).join(", ")}`,
            ),
          )
          .toEqual([]);
      }
    },
    90_000,
  );

  it("gives cold thumbs targets of 44 pixels", async () => {
    for (const path of pages) {
      await page.goto(server.origin + path);
      await page.getByRole("heading", { level: 1 }).waitFor();
      const small = await page.evaluate(() =>
        [
          ...document.querySelectorAll<HTMLElement>(
            "button, .button, nav a, summary, .choice, .back, input:not([type=radio], [type=checkbox])",
          ),
        ]
          .filter((element) => element.offsetParent !== null || element.closest("nav") !== null)
          .map((element) => ({
            words: element.textContent || element.getAttribute("name"),
            height: element.getBoundingClientRect().height,
          }))
          .filter(({ height }) => height > 0 && height < 44),
      );
      expect.soft(small, path).toEqual([]);
    }
  }, 60_000);

  it("follows the feeder while it is looked at", async () => {
    await page.goto(`${server.origin}/feeders/rowan`);
    await page.getByText("Enough until Saturday").waitFor();
    await page.waitForLoadState("networkidle");
    server.home = {
      ...homeView(Date.now()),
      yards: homeView(Date.now()).yards.map((yard) => ({
        ...yard,
        feeders: yard.feeders.map((feeder) =>
          feeder.id === "rowan"
            ? { ...feeder, revision: 13, hopper: { ...feeder.hopper, words: "enough until Friday, 80 % sure" } }
            : feeder,
        ),
      })),
    };
    server.tell({ kind: "changed", feeder: "rowan", revision: 13 });
    await page.getByText("Enough until Friday").waitFor({ timeout: 5_000 });
  }, 20_000);
});

describe.skipIf(chromiumPath === null)(`the worker beside the page${unlessAbsent}`, () => {
  const workerReady = () =>
    page.evaluate(() =>
      navigator.serviceWorker.ready.then(
        () =>
          navigator.serviceWorker.controller !== null ||
          new Promise((resolve) =>
            navigator.serviceWorker.addEventListener("controllerchange", resolve, { once: true }),
          ),
      ),
    );

  it("opens at once with what was last known, and carries a pause out when the line is back", async () => {
    await page.goto(`${server.origin}/feeders/rowan`);
    await page.getByText(/^Birds came from/).waitFor();
    await workerReady();

    await context.setOffline(true);
    await page.reload();
    await page.getByText("Enough until Saturday").waitFor();
    await page.getByText("No connection to the server.").waitFor();
    await page.getByText(/^Birds came from/).waitFor();
    await page.getByRole("button", { name: "Pause until resumed" }).click();
    await page.getByText("Pause until resumed: waiting on this phone.").waitFor();
    expect(server.asked).toEqual([]);

    await page.reload(); // the phone was put away and taken out again
    await page.getByText("Pause until resumed: waiting on this phone.").waitFor();

    await context.setOffline(false);
    await expect.poll(() => server.asked.length, { timeout: 5_000 }).toBe(1);
    expect(server.asked[0]).toMatchObject({
      method: "POST",
      path: "/feeders/rowan/orders",
      body: { kind: "pause", until: null },
    });
    await page.getByText("waiting on this phone").waitFor({ state: "detached" });
  }, 40_000);

  it("shows each push as a notice, also one that it can't read", async () => {
    await context.grantPermissions(["notifications"], { origin: server.origin });
    await page.goto(server.origin);
    await workerReady();
    const worker = context.serviceWorkers()[0];
    if (worker === undefined) throw new Error("expected the service worker to run");
    const debuggerLink = await context.newCDPSession(page);
    const registered = new Promise<string>((resolve) => {
      debuggerLink.on("ServiceWorker.workerRegistrationUpdated", ({ registrations }) => {
        const ours = registrations.find(({ scopeURL }) => scopeURL.startsWith(server.origin));
        if (ours !== undefined) resolve(ours.registrationId);
      });
    });
    await debuggerLink.send("ServiceWorker.enable");
    const registrationId = await registered;
    interface Shown {
      readonly title: string;
      readonly body: string | undefined;
      readonly url: string;
    }
    // First lay in wait, then push, then ask what came: in that order, since they travel by different ways.
    const push = async (data: string): Promise<Shown> => {
      await worker.evaluate(() => {
        const scope = globalThis as unknown as { registration: ServiceWorkerRegistration; shown: Promise<Shown> };
        scope.shown = new Promise((resolve) => {
          scope.registration.showNotification = (title, options) => {
            resolve({ title, body: options?.body, url: (options as { data: { navigate: string } }).data.navigate });
            return Promise.resolve();
          };
        });
      });
      await debuggerLink.send("ServiceWorker.deliverPushMessage", { origin: server.origin, registrationId, data });
      return worker.evaluate(() => (globalThis as unknown as { shown: Promise<Shown> }).shown);
    };
    const notification = {
      title: "Rowan: tray jammed",
      body: "Three portions ran and nothing fell.",
      navigate: "/feeders/rowan",
      tag: "rowan-trayJammed",
      data: { priority: "urgent" },
    };
    expect(await push(JSON.stringify({ web_push: 8030, notification }))).toEqual({
      title: "Rowan: tray jammed",
      body: "Three portions ran and nothing fell.",
      url: "/feeders/rowan",
    });
    expect(await push("\u0000 not ours")).toMatchObject({ title: "Pieward", url: "/" });
  }, 40_000);

  it("tells of a new version and waits for the keeper to take it", async () => {
    await page.goto(server.origin);
    await workerReady();
    server.workerSuffix = "\n// a newer build";
    let reloads = 0;
    page.on("load", () => {
      reloads += 1;
    });
    await page.evaluate(() => navigator.serviceWorker.getRegistration().then((registration) => registration?.update()));
    await page.getByText("A new version is ready.").waitFor();
    expect(reloads).toBe(0);
    await page.getByRole("button", { name: "Use it now" }).click();
    await expect.poll(() => reloads, { timeout: 5_000 }).toBe(1);
    await page.getByText("A new version is ready.").waitFor({ state: "detached" });
  }, 40_000);
});
