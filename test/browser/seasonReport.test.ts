import type { Browser, Page } from "playwright-core";
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, it } from "vitest";
import { findChromium } from "../support/chromium.ts";
import { type BrowserPhone, launchBrowser, openBrowserPhone } from "./browserPhone.ts";
import { type BuiltClient, copyBuiltClient } from "./builtClient.ts";
import { type FakeServer, startFakeServer } from "./fakeServer.ts";

/** The season report on paper. */

const { path: chromiumPath, unlessAbsent } = findChromium();
let client: BuiltClient;
let browser: Browser;
let server: FakeServer;
let phone: BrowserPhone;
let page: Page;

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
  phone = await openBrowserPhone(browser);
  page = phone.page;
  await page.goto(`${server.origin}/yards/alder-croft/report`);
  await page.getByRole("heading", { name: "Nudge a cap in" }).waitFor();
});
afterEach(async () => {
  await phone.context.close();
  await server.close();
});

/** Page objects in the file; Chromium writes them uncompressed. */
const pagesOf = (pdf: Buffer) => pdf.toString("latin1").match(/\/Type \/Page\b/g)?.length ?? 0;

describe.skipIf(chromiumPath === null)(`the printed season report${unlessAbsent}`, () => {
  it.each(["A4", "Letter"] as const)("begins a page with each stage on %s", async (format) => {
    const whole = pagesOf(await page.pdf({ format }));
    expect(whole).toBe(4); // the summary, and three stages
    await page.addStyleTag({ content: "@media print { .report-stage { break-before: auto !important } }" });
    expect(pagesOf(await page.pdf({ format }))).toBeLessThan(whole); // the pages come from the stages
  });

  it("leaves out what can only be tapped, and keeps each picture on one page", async () => {
    await page.emulateMedia({ media: "print" });
    expect(await page.getByRole("button", { name: "Print it" }).isVisible()).toBe(false);
    const breaks = await page.$$eval(".report-picture", (all) => all.map((one) => getComputedStyle(one).breakInside));
    expect(breaks.length).toBeGreaterThan(9);
    expect(new Set(breaks)).toEqual(new Set(["avoid"]));
  });
});
