import type { AddressInfo } from "node:net";
import type { Browser, Request } from "playwright-core";
import { afterAll, beforeAll, describe, expect, it, onTestFinished } from "vitest";
import { findChromium } from "../support/chromium.ts";
import { openTestServer } from "../support/testServer.ts";
import { accessibilityProblems, launchBrowser, openBrowserPhone } from "./browserPhone.ts";
import { type BuiltClient, copyBuiltClient } from "./builtClient.ts";

/** The documentation of the interface as a real browser shows it, over plain http under a name that is not this machine's own. */

const { path, unlessAbsent } = findChromium();
const homeName = "alder-croft.example"; // browsers trust localhost more than any name on a home network

let browser: Browser;
let client: BuiltClient;
beforeAll(async () => {
  if (path === null) return;
  client = await copyBuiltClient();
  browser = await launchBrowser(path, [`--host-resolver-rules=MAP ${homeName} 127.0.0.1`]);
}, 60_000);
afterAll(async () => {
  await browser?.close();
  await client?.remove();
});

/** The page at /api/docs, with all requests of the browser. */
async function openDocumentation(options: Parameters<typeof openBrowserPhone>[1] = {}) {
  const { app } = await openTestServer({ clientFolder: client.folder });
  await app.listen({ port: 0, host: "127.0.0.1" });
  const { port } = app.server.address() as AddressInfo;
  const phone = await openBrowserPhone(browser, options);
  onTestFinished(() => phone.context.close());
  const requested: string[] = [];
  const failed: string[] = [];
  phone.context.on("request", (request: Request) => requested.push(request.url()));
  phone.context.on("requestfailed", (request: Request) => failed.push(request.url()));
  const origin = `http://${homeName}:${port}`;
  await phone.page.goto(`${origin}/api/docs`);
  await phone.page.waitForLoadState("networkidle");
  return { ...phone, origin, requested, failed };
}

describe.skipIf(path === null)(`the documentation${unlessAbsent}`, () => {
  it("is readable over plain HTTP, without JavaScript and without foreign content", async () => {
    for (const javaScriptEnabled of [true, false]) {
      const { page, origin, requested, failed, complaints, refusals } = await openDocumentation({ javaScriptEnabled });
      expect(requested.filter((url) => !url.startsWith(`${origin}/`))).toEqual([]);
      expect(requested).toContain(`${origin}/api/docs/page.css`);
      expect([failed, complaints, refusals]).toEqual([[], [], []]);
      const text = (await page.locator("main").textContent()) ?? "";
      for (const part of ["/api/v1/report", "/api/v1/link", "Authorization: Signature", "storedThrough"]) {
        expect(text).toContain(part);
      }
      expect(await page.content()).not.toMatch(/swagger|smartbear/i);
      expect(await page.locator("script").count()).toBe(0);
    }
  }, 60_000);

  it("is accessible on a phone and a wide screen, light and dark", async () => {
    const { page } = await openDocumentation();
    // All routes are written by one function, and all refusals by another: six of each show what the checker can find.
    const left = await page.evaluate(() =>
      ["details.route", "article.refusal"].map((kind) => {
        const all = [...document.querySelectorAll(kind)];
        for (const one of all.slice(6)) one.remove();
        return all.length;
      }),
    );
    expect(Math.min(...left)).toBeGreaterThan(6);
    for (const summary of (await page.locator("summary").all()).slice(0, 3)) await summary.click();
    expect(await accessibilityProblems(page)).toEqual([]);
  }, 120_000);

  it("has one column at 320 CSS pixels (WCAG 2.2, 1.4.10)", async () => {
    const { page } = await openDocumentation({ viewport: { width: 320, height: 640 } });
    await page.evaluate(() => {
      for (const closed of document.querySelectorAll("details")) closed.open = true;
    });
    expect(await page.evaluate(() => document.documentElement.scrollWidth - innerWidth)).toBeLessThanOrEqual(0);
  });

  it("lets every long example be scrolled by keyboard, and has a target for every link", async () => {
    const { page } = await openDocumentation();
    for (const link of await page.locator("nav a").all()) {
      expect(await page.locator((await link.getAttribute("href")) ?? "").count()).toBe(1);
    }
    const shut = await page.locator("pre:not([tabindex='0'])").count();
    expect(shut).toBe(0);
    await page.keyboard.press("Tab");
    expect(await page.evaluate(() => document.activeElement?.textContent)).toBe("Skip to the text");
  });

  it("offers the interface description as a file", async () => {
    const { page, origin } = await openDocumentation();
    const [download] = await Promise.all([
      page.waitForEvent("download"),
      page.getByRole("link", { name: /^Download/ }).click(),
    ]);
    expect(download.suggestedFilename()).toBe("pieward-openapi.json");
    expect(download.url()).toBe(`${origin}/api/docs/json`);
  });
});
