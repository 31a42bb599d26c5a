import { existsSync, mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import type { Browser, Page } from "playwright-core";
import { afterAll, beforeAll, beforeEach, expect, type TestContext } from "vitest";
import { builtServer } from "../support/builtServer.ts";
import { type BrowserPhone, launchBrowser, openBrowserPhone } from "./browserPhone.ts";

export interface OpenedPhone {
  readonly browser: Browser; // for a second phone
  readonly phone: BrowserPhone;
  readonly page: Page;
  readonly scratch: string; // a folder for the built server and what it needs, removed after the test
}

/** One browser for the file, and in it a new phone for each test that opens one, also for tests that run at the same time. */
export function sharedBrowser(chromiumPath: string | null): {
  open(test: Pick<TestContext, "onTestFinished">): Promise<OpenedPhone>;
} {
  let browser: Browser | undefined;
  beforeAll(async () => {
    if (chromiumPath === null) return;
    expect(existsSync(builtServer), "run `npm run build` first").toBe(true);
    browser = await launchBrowser(chromiumPath);
  }, 60_000);
  afterAll(() => browser?.close());
  return {
    async open(test) {
      const phone = await openBrowserPhone(browser as Browser);
      const scratch = mkdtempSync(join(tmpdir(), "pieward-browser-"));
      test.onTestFinished(async () => {
        await phone.context.close();
        rmSync(scratch, { recursive: true, force: true, maxRetries: 3 });
      });
      return { browser: browser as Browser, phone, page: phone.page, scratch };
    },
  };
}

/** The same with a phone that is opened before each test. @param use gets it before the test */
export function phoneForEachTest(chromiumPath: string | null, use: (opened: OpenedPhone) => void): void {
  const { open } = sharedBrowser(chromiumPath);
  beforeEach(async ({ onTestFinished }) => use(await open({ onTestFinished })));
}
