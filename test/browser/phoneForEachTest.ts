import { existsSync, mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import type { Browser, Page } from "playwright-core";
import { afterAll, afterEach, beforeAll, beforeEach, expect } from "vitest";
import { builtServer } from "../support/builtServer.ts";
import { type BrowserPhone, launchBrowser, openBrowserPhone } from "./browserPhone.ts";

export interface OpenedPhone {
  readonly browser: Browser; // for a second phone
  readonly phone: BrowserPhone;
  readonly page: Page;
  readonly scratch: string; // a folder for the built server and what it needs, removed after the test
}

/** One browser for the file, and in it a new phone for each test. @param use gets the phone before the test */
export function phoneForEachTest(chromiumPath: string | null, use: (opened: OpenedPhone) => void): void {
  let browser: Browser | undefined;
  let opened: OpenedPhone;
  beforeAll(async () => {
    expect(existsSync(builtServer), "run `npm run build` first").toBe(true);
    browser = await launchBrowser(chromiumPath as string);
  }, 60_000);
  afterAll(() => browser?.close());
  beforeEach(async () => {
    const phone = await openBrowserPhone(browser as Browser);
    const scratch = mkdtempSync(join(tmpdir(), "pieward-browser-"));
    opened = { browser: browser as Browser, phone, page: phone.page, scratch };
    use(opened);
  });
  afterEach(async () => {
    await opened.phone.context.close();
    rmSync(opened.scratch, { recursive: true, force: true, maxRetries: 3 });
  });
}
