import type { Browser } from "playwright-core";
import { afterAll, beforeAll, describe, expect, it, onTestFinished } from "vitest";
import { findChromium } from "../support/chromium.ts";
import { checkAccessibility, launchBrowser, openBrowserPhone } from "./browserPhone.ts";
import { type BuiltClient, copyBuiltClient } from "./builtClient.ts";
import { startFakeServer } from "./fakeServer.ts";

/** What would have rung with other settings, in a real browser: on a phone and a wide screen, light and dark. */

const { path: chromiumPath, unlessAbsent } = findChromium();

describe.skipIf(chromiumPath === null)(`what would have rung${unlessAbsent}`, () => {
  let client: BuiltClient;
  let browser: Browser;
  beforeAll(async () => {
    client = await copyBuiltClient();
    browser = await launchBrowser(chromiumPath as string);
  }, 120_000);
  afterAll(async () => {
    await browser?.close();
    await client?.remove();
  });

  it("is asked for beside Save, can be cancelled, and is shown as a table that all can read", async () => {
    const server = await startFakeServer(client.folder);
    const { context, page, complaints } = await openBrowserPhone(browser, { serviceWorkers: "block" });
    onTestFinished(async () => {
      await context.close();
      await server.close();
    });
    server.delayMs = (path) => (path.endsWith("/comparison") ? 60_000 : 0);
    await page.goto(`${server.origin}/feeders/rowan/settings`);
    await page.getByLabel("Food warning").fill("4");
    const ask = page.getByRole("button", { name: "What would have rung?" });
    await ask.click();
    await page.getByRole("progressbar").waitFor();
    await checkAccessibility(page, "while it is compared");
    await page.getByRole("button", { name: "Cancel" }).click();
    await page.getByRole("progressbar").waitFor({ state: "detached" });
    server.delayMs = () => 0;
    await ask.click();
    await page.getByText(/^In the last 30 days these settings would have rung 4 times/).waitFor();
    await page.getByText("Only with the present settings: 2").click();
    await checkAccessibility(page, "the comparison");
    expect(complaints).toEqual([]);
  });
});
