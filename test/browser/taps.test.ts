import type { Browser, Locator, Page } from "playwright-core";
import { afterAll, beforeAll, describe, expect, it, type TestContext } from "vitest";
import { findChromium } from "../support/chromium.ts";
import { launchBrowser, openBrowserPhone } from "./browserPhone.ts";
import { type BuiltClient, copyBuiltClient } from "./builtClient.ts";
import { fakePushManager } from "./fakePushManager.ts";
import { type FakeServer, startFakeServer } from "./fakeServer.ts";

/** How many taps from the first page a keeper needs for what is done or asked most: counted on the built client, on a phone. */

const { path: chromiumPath, unlessAbsent } = findChromium();

let client: BuiltClient;
let browser: Browser;
beforeAll(async () => {
  if (chromiumPath === null) return;
  client = await copyBuiltClient();
  browser = await launchBrowser(chromiumPath);
}, 60_000);
afterAll(async () => {
  await browser?.close();
  await client?.remove();
});

interface Task {
  readonly task: string;
  readonly most: number;
  readonly taps: readonly ((page: Page) => Locator)[];
  /** What stands on the screen then. */
  readonly seen: (page: Page, server: FakeServer) => Promise<void>;
}
const link = (name: string | RegExp) => (page: Page) => page.getByRole("link", { name }).first();
const button = (name: string | RegExp) => (page: Page) => page.getByRole("button", { name }).first();
const tab = (name: string) => (page: Page) =>
  page.getByRole("navigation", { name: "Main menu" }).getByRole("link", { name });
const shows = (locator: (page: Page) => Locator) => async (page: Page) => await locator(page).waitFor();
const text = (words: string | RegExp) => (page: Page) => page.getByText(words).first();

const compareWeeks: Task = {
  task: "compare weeks",
  most: 2,
  taps: [tab("Days"), link("Compare weeks")],
  seen: shows((page) => page.getByRole("columnheader", { name: "Change" })),
};

const tasks: readonly Task[] = [
  {
    task: "why did it ring",
    most: 1,
    taps: [link("Larch")],
    seen: shows((page) => page.locator(".alarm-list p").first()),
  },
  {
    task: "enter a refill",
    most: 2,
    taps: [link("Rowan"), link("Enter a refill")],
    seen: shows((page) => page.locator("form").getByRole("button").last()),
  },
  {
    task: "pause all feeders",
    most: 2,
    taps: [button("Pause all feeders of Alder Croft"), button("Pause all")],
    seen: async (_, server) =>
      await expect.poll(() => server.receivedCalls.filter(({ path }) => path.endsWith("/orders")).length).toBe(1),
  },
  {
    task: "set quiet hours",
    most: 3,
    taps: [tab("You"), link(/^Quiet hours, Alder Croft/), button("Save")],
    seen: async (_, server) =>
      await expect
        .poll(
          () => server.receivedCalls.filter(({ method, path }) => method === "PATCH" && /\/people\//.test(path)).length,
        )
        .toBe(1),
  },
  {
    task: "add this phone",
    most: 2,
    taps: [tab("You"), button("Turn on")],
    seen: async (_, server) =>
      await expect
        .poll(() => server.receivedCalls.filter(({ method, path }) => method === "POST" && path === "/phones").length)
        .toBe(1),
  },
  { task: "how was yesterday", most: 1, taps: [tab("Days")], seen: shows(text(/\d+ visits, .* given\.$/)) },
  {
    task: "when do the birds come",
    most: 2,
    taps: [tab("Days")],
    seen: shows((page) => page.getByRole("img", { name: "Visits by hour" })),
  },
  compareWeeks,
];

describe.skipIf(chromiumPath === null)(`taps from the first page${unlessAbsent}`, () => {
  it.for(tasks)("$task: at most $most", { timeout: 60_000 }, async (task, test) => {
    const { page, server } = await openFirstPage(test, task.task === "add this phone");
    expect(await countTaps(task, page, server)).toBeLessThanOrEqual(task.most);
  });

  it("are counted: what is one more tap away is not there, and a link that is gone is missed", async (test) => {
    const { page, server } = await openFirstPage(test, false);
    page.setDefaultTimeout(2_000);
    const tooFew = { ...compareWeeks, taps: compareWeeks.taps.slice(0, 1) };
    await expect(countTaps(tooFew, page, server)).rejects.toThrow(/Timeout/);
    await expect(countTaps({ ...compareWeeks, taps: [link("Compare years")] }, page, server)).rejects.toThrow(
      /Timeout/,
    );
    expect(await countTaps({ ...compareWeeks, taps: [tab("Feeders"), ...compareWeeks.taps] }, page, server)).toBe(3);
  }, 60_000);
});

async function countTaps({ taps, seen }: Task, page: Page, server: FakeServer): Promise<number> {
  let count = 0;
  for (const target of taps) {
    await target(page).click();
    count += 1;
  }
  await seen(page, server);
  return count;
}

/** As a browser makes them: a point of P-256 and 16 octets, base64url. */
const browserKeys = {
  p256dh: "BEl62iUYgUivxIkv69yViEuiBIa-Ib9-SkvMeAtA3LFgDzkrxZJjSgSnfckjBJuBkr3qBUYIHBQFLXYp5Nksh8U",
  auth: "k8JV6sjdbhAi1n3_LDBLvA",
};

async function openFirstPage({ onTestFinished }: TestContext, isNew: boolean) {
  const server = await startFakeServer(client.folder);
  if (isNew) server.phones = { ...server.phones, phones: [] };
  const phone = await openBrowserPhone(browser, isNew ? { permissions: ["notifications"] } : {});
  onTestFinished(async () => {
    await phone.context.close();
    await server.close();
  });
  const { page } = phone;
  await page.goto(server.origin);
  if (isNew) await fakePushManager(phone.context, [{ ...browserKeys, endpoint: "https://push.example/new" }]);
  await page.locator(".feeder-entry").first().waitFor();
  return { page, server };
}
