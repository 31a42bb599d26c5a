import { expect, it } from "vitest";
import { feederViewFixture, homeViewFixture } from "../client/viewFixtures.ts";
import { findChromium } from "../support/chromium.ts";
import { accessibilityProblems, launchBrowser, openBrowserPhone } from "./browserPhone.ts";
import { copyBuiltClient } from "./builtClient.ts";
import { startFakeServer } from "./fakeServer.ts";

const { path: chromiumPath } = findChromium();

/** Thirty feeders of one yard, one of them with a name of sixty characters. */
it.skipIf(chromiumPath === null)(
  "thirty feeders fit on two screens of a phone, in rows of one height",
  async ({ onTestFinished }) => {
    const client = await copyBuiltClient();
    onTestFinished(() => client.remove());
    const browser = await launchBrowser(chromiumPath as string);
    onTestFinished(() => browser.close());
    const server = await startFakeServer(client.folder);
    onTestFinished(() => server.close());
    const now = Date.now();
    const home = homeViewFixture(now);
    const longName = "The feeder behind the old barn, seen from the kitchen window";
    expect(longName).toHaveLength(60);
    const others = Array.from({ length: 28 }, (_, index) =>
      feederViewFixture(now, { id: `f${index}`, name: index === 6 ? longName : `Feeder ${index}` }),
    );
    server.home = {
      ...home,
      yards: home.yards.slice(0, 1).map((yard) => ({ ...yard, feeders: [...yard.feeders, ...others] })),
    };
    const { page } = await openBrowserPhone(browser);
    await page.goto(`${server.origin}/`);
    await page.locator(".feeder-entry").last().waitFor();
    const { bottom, heights, screens, sideways } = await page.evaluate(() => {
      const rows = [...document.querySelectorAll(".feeder-entry")].map((row) => row.getBoundingClientRect());
      const bar = document.querySelector("nav.tabs")?.getBoundingClientRect().height ?? 0;
      return {
        bottom: (rows.at(-1)?.bottom ?? 0) + scrollY,
        heights: [...new Set(rows.map(({ height }) => Math.round(height)))],
        screens: 2 * (innerHeight - bar),
        sideways: document.documentElement.scrollWidth - innerWidth,
      };
    });
    expect(heights).toEqual([44]);
    expect(bottom).toBeLessThanOrEqual(screens);
    expect(sideways).toBe(0);
    expect(await accessibilityProblems(page)).toEqual([]);
  },
  60_000,
);
