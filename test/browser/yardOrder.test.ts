import { join } from "node:path";
import type { Page } from "playwright-core";
import { describe, expect, it } from "vitest";
import { runBuiltServer } from "../support/builtServer.ts";
import { findChromium } from "../support/chromium.ts";
import { type BrowserPhone, checkAccessibility, untilWorkerControls } from "./browserPhone.ts";
import { ManualFeeder } from "./manualFeeder.ts";
import { phoneForEachTest } from "./phoneForEachTest.ts";

/** One order for all feeders of a yard: the built server, the built client in a real browser, and two feeders. */

const { path: chromiumPath, unlessAbsent } = findChromium();

let scratch: string;
let phone: BrowserPhone;
let page: Page;

phoneForEachTest(chromiumPath, (opened) => {
  ({ phone, page, scratch } = opened);
});

describe.skipIf(chromiumPath === null)(`all feeders of a yard${unlessAbsent}`, () => {
  it("are paused by two taps, counted as each confirms, and ordered once after a time without a connection", async () => {
    const { rowan, larch } = await openYard();
    const orders: string[] = [];
    phone.context.on("request", (request) => {
      if (request.method() === "POST" && request.url().endsWith("/orders")) orders.push(request.postData() ?? "");
    });
    await button("Pause all feeders of Alder Croft").waitFor();
    await checkAccessibility(page, "feeders, with the offer to pause all");

    // --- without a connection: it waits, and is sent once
    await phone.offline(true);
    await button("Pause all feeders of Alder Croft").click();
    await page.getByRole("group", { name: "Pause both feeders of Alder Croft?" }).waitFor();
    await checkAccessibility(page, "the question whether to pause all");
    const sizes = await Promise.all(["Pause all", "Cancel"].map((name) => button(name).boundingBox()));
    for (const size of sizes) expect(size?.height).toBeGreaterThanOrEqual(44);
    await page.keyboard.press("Tab"); // from the question, where focus is
    await page.keyboard.press("Enter");
    await page.getByText("Pause all feeders: not sent yet.", { exact: true }).waitFor();
    await checkAccessibility(page, "an order for the yard that waits");
    orders.length = 0; // what failed while there was no connection
    await phone.offline(false);
    await page.getByText("Paused: 0 of 2 feeders confirmed. Not confirmed: Larch, Rowan.").waitFor();
    await page.getByText("Pause all feeders: not sent yet.", { exact: true }).waitFor({ state: "detached" });
    expect(orders).toHaveLength(1);
    await expect.poll(() => page.getByText("Pause until resumed: requested").count()).toBe(2);

    // --- each feeder confirms for itself
    const [first] = (await rowan.reports({ paused: false })).orders;
    const [second] = (await larch.reports({ paused: false })).orders;
    expect(first).toMatchObject({ kind: "pause", until: null });
    expect(second?.id).toBe(first?.id);
    await expect.poll(() => page.getByText("Pause until resumed: sent, not yet confirmed").count()).toBe(2);
    await rowan.reports({ paused: true }, { kind: "order", order: first?.id, outcome: "done" });
    await page.getByText("Paused: 1 of 2 feeders confirmed. Not confirmed: Larch.").waitFor();
    await entry("Rowan").getByText("Pause until resumed: confirmed by the feeder at").waitFor();
    await entry("Larch").getByText("Pause until resumed: sent, not yet confirmed").waitFor();
    await checkAccessibility(page, "a yard's pause that one feeder has confirmed");
    await larch.reports({ paused: true }, { kind: "order", order: second?.id, outcome: "done" });
    await page.getByText("Paused: all 2 feeders confirmed.").waitFor();
    expect(await button("Pause all feeders of Alder Croft").count()).toBe(0);

    // --- one reports that it is feeding: it is not counted any more
    await larch.reports({ paused: false });
    await page.getByText("Paused: 1 of 2 feeders confirmed. Not confirmed: Larch.").waitFor();
    await entry("Larch")
      .getByText(/the feeder reports that it is feeding$/)
      .waitFor();

    // --- and back
    await button("Resume all feeders of Alder Croft").click();
    await button("Resume all").click();
    await page.getByText("Feeding again: 0 of 2 feeders confirmed. Not confirmed: Larch, Rowan.").waitFor();
    expect((await rowan.reports({ paused: true })).orders).toMatchObject([{ kind: "resume" }]);
    expect(phone.complaints).toEqual([]);
  }, 120_000);
});

// --- the yard ------------------------------------------------------------------------------------------------------

/** A yard with two feeders that feed, on the screen of its keeper. */
async function openYard(): Promise<{ readonly rowan: ManualFeeder; readonly larch: ManualFeeder }> {
  const server = runBuiltServer(join(scratch, "data"));
  const [, firstSignIn] = await server.waitForOutput(/\n {2}(http\S+\/first-sign-in#[\w-]{43})\n/);
  const link = new URL(firstSignIn as string);
  const keeper = { name: "Ada", passphrase: "four black feathers in the snow" };
  await post(link.origin, "/first-sign-in", { token: link.hash.slice(1), ...keeper, zone: "Europe/Stockholm" });
  const { yards } = await (await phone.context.request.get(`${link.origin}/api/v1/home`)).json();
  const yard = yards[0].id;
  await phone.context.request.patch(`${link.origin}/api/v1/yards/${yard}`, {
    data: { name: "Alder Croft" },
    headers: { "x-pieward": "1" },
  });
  const [rowan, larch] = [await addFeeder("Rowan"), await addFeeder("Larch")];
  await page.goto(link.origin);
  await page.getByRole("link", { name: "Larch", exact: true }).waitFor();
  await untilWorkerControls(page);
  return { rowan, larch };

  async function addFeeder(name: string): Promise<ManualFeeder> {
    const { key } = await post(link.origin, "/feeders", { name, yard });
    const feeder = new ManualFeeder(key, link.origin);
    await feeder.reports({ paused: false });
    return feeder;
  }
}

/** Does what a page would do, with this phone's own session. */
async function post(origin: string, path: string, data: unknown) {
  const response = await phone.context.request.post(`${origin}/api/v1${path}`, { data, headers: { "x-pieward": "1" } });
  if (!response.ok()) throw new Error(`${path} was refused: ${await response.text()}`);
  return response.json();
}

// --- the page ------------------------------------------------------------------------------------------------------

const button = (name: string) => page.getByRole("button", { name, exact: true });
const entry = (name: string) =>
  page.getByRole("listitem").filter({ has: page.getByRole("link", { name, exact: true }) });
