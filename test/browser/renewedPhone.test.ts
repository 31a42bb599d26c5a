import { writeFileSync } from "node:fs";
import { join } from "node:path";
import type { Browser, Page } from "playwright-core";
import { afterEach, beforeEach, describe, expect, it } from "vitest";
import type { PhonesView } from "../../server/contract/api.ts";
import type { Phone } from "../../server/ports.ts";
import { runBuiltServer } from "../support/builtServer.ts";
import { findChromium } from "../support/chromium.ts";
import { type PushService, startPushService } from "../support/pushService.ts";
import { type BrowserPhone, type PushTarget, pushTarget } from "./browserPhone.ts";
import { type FakePushManager, fakePushManager } from "./fakePushManager.ts";
import { phoneForEachTest } from "./phoneForEachTest.ts";

/**
 * A phone whose push endpoint expires or changes: the built server, a push service on this machine, the built client in a
 * real browser. Only the browser's push service is replaced by a fake.
 */

const { path, unlessAbsent } = findChromium();

let browser: Browser;
let scratch: string;
let service: PushService;
let addresses: readonly Phone[]; // that the browser gives out, in this order
let phone: BrowserPhone;
let page: Page;
let origin: string;
let pushManager: FakePushManager;
let pushed: PushTarget;

phoneForEachTest(path, (opened) => {
  ({ browser, phone, page, scratch } = opened);
});
beforeEach(async () => {
  service = await startPushService();
  addresses = [0, 1, 2].map(() => service.subscribe());
});
afterEach(() => service.close());

describe.skipIf(path === null)(`a phone whose endpoint changes${unlessAbsent}`, () => {
  it("unsubscribes an expired endpoint before it requests another, and is confirmed only by the new one", async () => {
    await switchOnAndProve();
    service.unsubscribe(addressOf(0)); // from now on 410
    await page.getByRole("button", { name: "Send a test to all" }).click();
    await page.getByText("This phone (Pocket) gets no notifications: its address is no longer valid.").waitFor();
    expect(await reachable().count()).toBe(0);
    expect((await listed()).phones).toEqual([]);
    expect(await pushManager.current()).toBe(0); // the browser knows nothing of it

    expect(await page.getByLabel("Name of this phone").inputValue()).toBe("Pocket");
    await page.getByRole("button", { name: "Turn on" }).click();
    await page.getByRole("heading", { name: "Pocket (this phone)" }).waitFor();
    expect(await pushManager.calls()).toEqual(["page subscribe 0", "page unsubscribe 0", "page subscribe 1"]);
    const { phones } = await listed();
    expect(phones).toMatchObject([
      { endpoint: addressOf(1).endpoint, label: "Pocket", reachability: { kind: "unconfirmed" } },
    ]);
    expect(await reachable().count()).toBe(0); // what the old address showed proves nothing

    await proveBy(1);
    expect(phone.complaints).toEqual([]);
  }, 90_000);

  it.each(["both", "neither"] as const)(
    "stores an endpoint that changes offline, shows that, and sends it when there is a connection (event names %s)",
    async (named) => {
      await switchOnAndProve();
      await phone.offline(true);
      await pushManager.change(named);
      await page
        .getByText("This phone (Pocket) gets no notifications: its new address is not sent to the server yet.")
        .waitFor();
      expect(await reachable().count()).toBe(0);
      expect(await testShown().count()).toBe(0); // that was the old address
      expect(await page.getByRole("button", { name: "Turn on" }).count()).toBe(0); // it goes on by itself
      expect((await listed()).phones).toMatchObject([{ endpoint: addressOf(0).endpoint }]);

      await phone.offline(false);
      await expect.poll(async () => endpoints(await listed()), { timeout: 10_000 }).toEqual([addressOf(1).endpoint]);
      await page.getByText("does not know its new one yet").waitFor({ state: "detached" });
      await page.getByRole("heading", { name: "Pocket (this phone)" }).waitFor();
      expect((await listed()).phones).toMatchObject([{ label: "Pocket", reachability: { kind: "unconfirmed" } }]);
      await proveBy(1);
      expect(phone.complaints).toEqual([]);
    },
    90_000,
  );

  it("sends it without any open page, when the browser reports a connection again", async () => {
    await switchOnAndProve();
    await page.goto("about:blank");
    await phone.offline(true);
    await pushManager.change("both");
    await pushManager.change("both"); // once more, before the server knows of the first
    await phone.offline(false);
    expect((await listed()).phones).toMatchObject([{ endpoint: addressOf(0).endpoint }]);
    await pushed.sync();
    await expect.poll(async () => endpoints(await listed()), { timeout: 10_000 }).toEqual([addressOf(2).endpoint]);
    expect((await listed()).phones).toMatchObject([{ label: "Pocket" }]);
    expect(phone.complaints).toEqual([]);
  }, 90_000);
});

describe.skipIf(path === null)(`a phone without permission for notifications${unlessAbsent}`, () => {
  it("shows that at once on an open page, reports it to the server, and gets an endpoint by itself when it has permission again", async () => {
    await switchOnAndProve();
    await allowNotices("denied");
    await page
      .getByText("This phone (Pocket) gets no notifications: permission was removed.")
      .waitFor({ timeout: 3_000 });
    await expect.poll(async () => (await listed()).phones[0]?.reachability.kind, { timeout: 5_000 }).toBe("lost");
    await reachable().waitFor({ state: "detached", timeout: 5_000 });
    expect(await testShown().count()).toBe(0);
    expect(await page.getByText("Notifications are blocked for this page.").count()).toBe(0); // shown once, not twice

    await allowNotices("granted");
    await expect.poll(async () => endpoints(await listed()), { timeout: 10_000 }).toEqual([addressOf(1).endpoint]);
    expect((await listed()).phones).toMatchObject([
      { label: "Pocket", blockedAt: null, reachability: { kind: "unconfirmed" } },
    ]);
    await page.getByText("permission was removed").waitFor({ state: "detached" });
    await proveBy(1);
    expect(phone.complaints).toEqual([]);
  }, 90_000);
});

// --- the server, the phone -----------------------------------------------------------------------------------------

async function switchOnAndProve(): Promise<void> {
  writeFileSync(join(scratch, "ca.pem"), service.ca);
  const server = runBuiltServer(join(scratch, "data"), {
    ALLOW_PRIVATE_PUSH_ENDPOINTS: "true",
    NODE_EXTRA_CA_CERTS: join(scratch, "ca.pem"),
  });
  const [, address] = await server.waitForOutput(/\n {2}(http\S+\/first-sign-in#[\w-]{43})\n/);
  const link = new URL(address as string);
  origin = link.origin;
  const created = await phone.context.request.post(`${origin}/api/v1/first-sign-in`, {
    data: {
      token: link.hash.slice(1),
      name: "Ada",
      passphrase: "four black feathers in the snow",
      zone: "Europe/Stockholm",
    },
    headers: { "x-pieward": "1" },
  });
  expect(created.ok()).toBe(true);
  await page.goto(`${origin}/phones`);
  pushed = await pushTarget(phone);
  pushManager = await fakePushManager(phone.context, addresses);
  await page.getByLabel("Name of this phone").fill("Pocket");
  await page.getByRole("button", { name: "Turn on" }).click();
  await page.getByRole("heading", { name: "Pocket (this phone)" }).waitFor();
  await proveBy(0);
}

/** Sends a test, which reaches the push service at this endpoint, and lets the browser deliver it. */
async function proveBy(index: number): Promise<void> {
  // On a busy machine the screen is a moment behind the server's answer.
  await expect.poll(() => reachable().count(), { timeout: 10_000 }).toBe(0);
  const arrives = service.nextMessage(addressOf(index));
  await page.getByRole("button", { name: "Send a test to all" }).click();
  const { text } = await arrives;
  expect(await pushed.push(text)).toMatchObject({ title: "Pieward: a test" });
  await reachable().waitFor({ timeout: 10_000 });
}

const reachable = () => page.getByText("Reachable.", { exact: true });

const testShown = () => page.getByText("The phone showed the notification.");

const addressOf = (index: number): Phone => addresses[index] as Phone;

/** What the server knows, requested without the page. */
async function listed(): Promise<PhonesView> {
  const cookies = await phone.context.cookies(origin);
  const cookie = cookies.map(({ name, value }) => `${name}=${value}`).join("; ");
  const response = await fetch(`${origin}/api/v1/phones`, { headers: { cookie } });
  expect(response.status).toBe(200);
  return (await response.json()) as PhonesView;
}
const endpoints = ({ phones }: PhonesView) => phones.map(({ endpoint }) => endpoint);

/** As the keeper does in the browser's settings for this page. */
async function allowNotices(setting: "granted" | "denied"): Promise<void> {
  const pageLink = await phone.context.newCDPSession(page);
  const { targetInfo } = await pageLink.send("Target.getTargetInfo");
  const browserLink = await browser.newBrowserCDPSession();
  const { browserContextId } = targetInfo;
  await browserLink.send("Browser.setPermission", {
    permission: { name: "notifications" },
    setting,
    origin,
    ...(browserContextId === undefined ? {} : { browserContextId }),
  });
}
