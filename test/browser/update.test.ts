import { cp, mkdtemp, readdir, readFile, rename, rm, writeFile } from "node:fs/promises";
import { tmpdir } from "node:os";
import { join } from "node:path";
import type { Browser, Page } from "playwright-core";
import { afterAll, beforeAll, describe, it, type TestContext } from "vitest";
import { findChromium } from "../support/chromium.ts";
import { launchBrowser, openBrowserPhone, untilWorkerControls } from "./browserPhone.ts";
import { type BuiltClient, copyBuiltClient } from "./builtClient.ts";
import { startFakeServer } from "./fakeServer.ts";

/** Several windows of one browser while a new version of the client is installed. */

const { path: chromiumPath, unlessAbsent } = findChromium();

let client: BuiltClient;
let newer: string;
let browser: Browser;

beforeAll(async () => {
  client = await copyBuiltClient();
  newer = await newerBuild(client.folder);
  browser = await launchBrowser(chromiumPath as string);
}, 60_000);
afterAll(async () => {
  await browser?.close();
  await client?.remove();
  await rm(newer, { recursive: true, force: true });
});

/** The same client after a later build: every hashed file has another name, and the old names are gone. */
async function newerBuild(folder: string): Promise<string> {
  const target = await mkdtemp(join(tmpdir(), "pieward-newer-"));
  await cp(folder, target, { recursive: true });
  const assets = (await readdir(join(target, "assets"))).filter((name) => !/\.(br|gz)$/.test(name));
  const renamed = new Map(assets.map((name) => [name, name.replace(/-([\w-]{8})\./, "-N$1.")]));
  for (const name of await readdir(target, { recursive: true })) {
    if (/\.(br|gz)$/.test(name)) await rm(join(target, name)); // what they hold is of the older build
    if (!/\.(js|html|css)$/.test(name)) continue;
    let text = await readFile(join(target, name), "utf8");
    for (const [old, now] of renamed) text = text.replaceAll(old, now);
    // The worker's hash of all files.
    if (name === "worker.js") text = text.replace(/shell-\$\{`(\w+)`\}|shell-([0-9a-f]{12})/, (all) => `${all}-newer`);
    await writeFile(join(target, name), text);
  }
  for (const [old, now] of renamed) await rename(join(target, "assets", old), join(target, "assets", now));
  return target;
}

const mainScript = (page: Page) =>
  page.evaluate(() => document.querySelector<HTMLScriptElement>("script[type=module]")?.src ?? "");
const isNewer = async (page: Page) => /-N[\w-]{8}\.js$/.test(await mainScript(page));

/** A server and a phone for one test alone, since the tests run at the same time: each waits for pages that reload. */
async function open({ onTestFinished }: TestContext, options: Parameters<typeof openBrowserPhone>[1] = {}) {
  const server = await startFakeServer(client.folder);
  const { context, page: firstPage } = await openBrowserPhone(browser, options);
  onTestFinished(async () => {
    await context.close();
    await server.close();
  });
  return {
    server,
    firstPage,
    async openWindow(path: string, page?: Page): Promise<Page> {
      const window = page ?? (await context.newPage());
      await window.goto(server.origin + path);
      await window.getByRole("heading", { level: 1 }).waitFor();
      return window;
    },
    async offerNewer(page: Page): Promise<void> {
      server.folder = newer;
      await page.evaluate(() =>
        navigator.serviceWorker.getRegistration().then((registration) => registration?.update()),
      );
      await page.getByText("A new version is available.").waitFor();
    },
  };
}

describe.skipIf(chromiumPath === null)(`a new version${unlessAbsent}`, { concurrent: true }, () => {
  it("is activated in all windows together", async (test) => {
    const { expect } = test;
    const { firstPage, openWindow, offerNewer } = await open(test);
    const first = await openWindow("/", firstPage);
    await untilWorkerControls(first);
    const second = await openWindow("/feeders/rowan");
    const third = await openWindow("/cautions");
    await offerNewer(first);
    await second.getByText("A new version is available.").waitFor();
    expect([await isNewer(first), await isNewer(second), await isNewer(third)]).toEqual([false, false, false]);
    await first.getByRole("button", { name: "Update now" }).click();
    for (const window of [first, second, third]) {
      await expect.poll(() => isNewer(window).catch(() => false), { timeout: 10_000 }).toBe(true);
      await window.getByText("A new version is available.").waitFor({ state: "detached" });
    }
    expect(new URL(second.url()).pathname).toBe("/feeders/rowan");
  }, 60_000);

  it("does not reload a window with entries, and leaves it the screens of its version", async (test) => {
    const { expect } = test;
    const { firstPage, openWindow, offerNewer } = await open(test);
    const first = await openWindow("/", firstPage);
    await untilWorkerControls(first);
    const second = await openWindow("/feeders/rowan/refill");
    await second.getByLabel("Added some food").check();
    await second.getByLabel("Food added").fill("640");
    await offerNewer(first);
    await first.getByRole("button", { name: "Update now" }).click();
    await expect.poll(() => isNewer(first).catch(() => false), { timeout: 10_000 }).toBe(true);

    await second.getByText("A new version is installed.").waitFor();
    await second.waitForTimeout(4_000); // also once the first window has settled
    expect(await second.getByLabel("Food added").inputValue()).toBe("640");
    expect(await isNewer(second)).toBe(false);
    // A screen that this window has never loaded: the server does not have it any more.
    const link = second.getByRole("link", { name: "You", exact: true });
    await link.click();
    await second.getByRole("heading", { level: 1, name: "You" }).waitFor({ timeout: 5_000 });

    // No entries are left: it reloads by itself, and the files kept for it are removed.
    await expect.poll(() => isNewer(second).catch(() => false), { timeout: 10_000 }).toBe(true);
    await expect
      .poll(() => second.evaluate(async () => (await caches.keys()).length).catch(() => 0), { timeout: 10_000 })
      .toBe(1);
  }, 60_000);

  it("can be activated in a window with entries by its button", async (test) => {
    const { expect } = test;
    const { firstPage, openWindow, offerNewer } = await open(test);
    const first = await openWindow("/feeders/rowan/refill", firstPage);
    await untilWorkerControls(first);
    await first.getByLabel("Added some food").check();
    await offerNewer(first);
    await first.getByRole("button", { name: "Update now" }).click();
    await first.getByRole("button", { name: "Reload now and lose changes" }).click();
    await expect.poll(() => isNewer(first).catch(() => false), { timeout: 10_000 }).toBe(true);
  }, 60_000);
});

describe.skipIf(chromiumPath === null)(`a screen that can't be loaded${unlessAbsent}`, { concurrent: true }, () => {
  it("shows that and can be reloaded, where a newer build replaced it and there is no worker", async (test) => {
    const { expect } = test;
    const { server, firstPage, openWindow } = await open(test, { serviceWorkers: "block" });
    const page = await openWindow("/", firstPage);
    await page.waitForLoadState("networkidle");
    server.folder = newer;
    await page.getByRole("link", { name: "You", exact: true }).click();
    await page.getByRole("heading", { level: 1, name: "This page could not be loaded" }).waitFor();
    await page.getByRole("button", { name: "Reload" }).click();
    await page.getByRole("heading", { level: 1, name: "You" }).waitFor();
    expect(await isNewer(page)).toBe(true);
  }, 60_000);

  it("shows that where the server does not respond", async (test) => {
    const { server, firstPage, openWindow } = await open(test, { serviceWorkers: "block" });
    const page = await openWindow("/", firstPage);
    await page.waitForLoadState("networkidle");
    server.isUnresponsive = true;
    await page.getByRole("link", { name: "You", exact: true }).click();
    await page.getByRole("heading", { level: 1, name: "This page could not be loaded" }).waitFor({ timeout: 20_000 });
  }, 60_000);
});
