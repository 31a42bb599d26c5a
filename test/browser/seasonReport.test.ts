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
  it("begins a page with each stage on A4", async () => {
    const format = "A4";
    const pagesWith = async (css: string) => {
      // A sheet of the script's own: the content policy forbids a style element.
      await page.evaluate((rules) => {
        const sheet = new CSSStyleSheet();
        sheet.replaceSync(rules);
        document.adoptedStyleSheets = [sheet];
      }, `@media print { ${css} }`);
      const count = pagesOf(await page.pdf({ format }));
      return count;
    };
    const whole = await pagesWith("");
    const first = await pagesWith(".report-stage { display: none !important }");
    let ofStages = 0;
    for (const nth of [1, 2, 3]) {
      const others = `.report-cover, .report-stage:not(:nth-last-child(${nth})) { display: none !important }`;
      ofStages += (await pagesWith(others)) - 1; // less the page with the report's title
    }
    expect(whole).toBe(first + ofStages);
    expect(await pagesWith(".report-stage { break-before: auto !important }")).toBeLessThan(whole);
  });

  it.each([
    ["A4", 210, 297],
    ["Letter", 215.9, 279.4],
  ])(
    "has no picture that is higher than a page of %s, also where a stage takes more pages",
    async (format, width, height) => {
      const [margin, pixels] = [14, 96 / 25.4];
      await page.emulateMedia({ media: "print" });
      await page.setViewportSize({ width: Math.round((width - 2 * margin) * pixels), height: 900 });
      const heights = await page.$$eval(".report-picture", (all) =>
        all.map((one) => one.getBoundingClientRect().height),
      );
      expect(Math.min(...heights)).toBeGreaterThan(0);
      expect(Math.max(...heights)).toBeLessThan((height - 2 * margin) * pixels);
      const usual = pagesOf(await page.pdf({ format }));
      await page.evaluate(() => {
        const sheet = new CSSStyleSheet();
        sheet.replaceSync("@media print { .report-stage p { line-height: 8 } }");
        document.adoptedStyleSheets = [sheet];
      });
      expect(pagesOf(await page.pdf({ format }))).toBeGreaterThan(usual);
    },
  );

  it("leaves out what can only be tapped, and keeps each picture on one page", async () => {
    await page.emulateMedia({ media: "print" });
    expect(await page.getByRole("button", { name: "Print it" }).isVisible()).toBe(false);
    const breaks = await page.$$eval(".report-picture", (all) => all.map((one) => getComputedStyle(one).breakInside));
    expect(breaks.length).toBeGreaterThan(9);
    expect(new Set(breaks)).toEqual(new Set(["avoid"]));
  });
});
