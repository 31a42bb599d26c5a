import type { Browser } from "playwright-core";
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, it } from "vitest";
import { instantOf } from "../../server/domain/instant.ts";
import { pushPayload } from "../../server/domain/push/payload.ts";
import { homeViewFixture } from "../client/viewFixtures.ts";
import { findChromium } from "../support/chromium.ts";
import { notificationFixture } from "../support/notificationFixture.ts";
import { type BrowserPhone, launchBrowser, openBrowserPhone, pushTarget } from "./browserPhone.ts";
import { type BuiltClient, copyBuiltClient } from "./builtClient.ts";
import { type FakeServer, startFakeServer } from "./fakeServer.ts";

/** What a phone does with a notification after showing it: reports it as displayed, performs its actions online and offline, closes it. */

const { path: chromiumPath, unlessAbsent } = findChromium();

let client: BuiltClient;
let browser: Browser;
let server: FakeServer;
let phone: BrowserPhone;

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
  await phone.page.goto(server.origin);
  await phone.page.getByRole("link", { name: "Larch", exact: true }).waitFor();
});
afterEach(async () => {
  await phone.context.close();
  await server.close();
});

const raisedAt = instantOf("2026-11-25T13:00:00Z");
const jammed = (item: string, change: Parameters<typeof notificationFixture>[0] = {}) => {
  const content = notificationFixture({
    fault: "trayJammed",
    priority: "urgent",
    title: "Larch: tray jammed",
    body: "Three portions ran and nothing fell.",
    topic: "alarm-larch-jam",
    raisedAt,
    actions: ["acknowledge", "pause"],
    ...change,
  });
  return JSON.stringify(pushPayload(content, "larch", null, item));
};
const callsTo = (ending: string) => server.receivedCalls.filter(({ path }) => path.endsWith(ending));
const shownItems = () => callsTo("/display-receipt").map(({ path }) => path.split("/")[2]);

describe.skipIf(chromiumPath === null)(`a notification on the phone${unlessAbsent}`, () => {
  it("is reported as displayed once, later where there was no connection", async () => {
    const { push } = await pushTarget(phone);
    expect((await push(jammed("item-1"))).actions).toEqual(["Acknowledge", "Pause the feeder"]);
    await expect.poll(shownItems, { timeout: 5_000 }).toEqual(["item-1"]);

    await phone.offline(true);
    await push(jammed("item-2"));
    await phone.offline(false);
    await push(jammed("item-3"));
    await expect.poll(() => shownItems().sort(), { timeout: 10_000 }).toEqual(["item-1", "item-2", "item-3"]);
    const [report] = callsTo("/item-2/display-receipt");
    expect(report?.body).toEqual({ at: expect.stringMatching(/^\d{4}-\d\d-\d\dT/) });
  }, 40_000);

  it("is acknowledged without opening anything, and shows that in its place", async () => {
    const { push, tapAction } = await pushTarget(phone);
    await push(jammed("item-1"));
    expect(await tapAction("acknowledge")).toMatchObject({
      title: "Larch: tray jammed",
      body: "The alarm has changed since then. Check it again.", // the prepared Larch stays jammed
      actions: [],
      silent: true,
    });
    larchIsWell();
    await push(jammed("item-2"));
    expect((await tapAction("acknowledge")).body).toBe("Acknowledged.");
    const [, ack] = callsTo("/acknowledge");
    expect(ack).toMatchObject({
      path: "/feeders/larch/alarms/trayJammed/acknowledge",
      body: { raisedAt: "2026-11-25T13:00:00.000Z" },
    });
    expect(phone.page.url()).toBe(`${server.origin}/`);
  }, 40_000);

  it("is acknowledged offline: the action is queued, that is shown, and it is sent exactly once when there is a connection", async () => {
    const { push, tapAction, sync } = await pushTarget(phone);
    await push(jammed("item-1"));
    await phone.offline(true);
    const waits = await tapAction("pause");
    expect(waits.body).toMatch(/^Not sent yet\. It is discarded if there is no connection by \d\d:\d\d\.$/);
    expect(waits).toMatchObject({ actions: [], silent: true });
    await phone.page.getByText("Not sent yet:").waitFor(); // the open page knows of it too
    expect(callsTo("/orders")).toEqual([]);

    await phone.offline(false);
    await Promise.all([sync(), phone.page.evaluate(() => dispatchEvent(new Event("online")))]); // whoever is first
    await phone.page.getByText("Not sent yet:").waitFor({ state: "detached" });
    await sync();
    const orders = callsTo("/orders");
    expect(orders).toHaveLength(1);
    expect(orders[0]?.body).toMatchObject({ kind: "pause", until: null, id: expect.stringMatching(/^[\w-]{8,64}$/) });
  }, 40_000);

  it("asks a person who is not signed in to sign in first, and sends the action then", async () => {
    const { push, tapAction } = await pushTarget(phone);
    await push(jammed("item-1"));
    server.signedIn = false;
    expect((await tapAction("pause")).body).toBe("Not sent: open Pieward and sign in.");
    await phone.page.getByLabel("Your name").fill("Keeper");
    await phone.page.getByLabel("Passphrase").fill("four black feathers in the snow");
    await phone.page.getByRole("button", { name: "Sign in", exact: true }).click();
    await phone.page.getByRole("link", { name: "Larch", exact: true }).waitFor();
    await expect.poll(() => callsTo("/orders").length, { timeout: 8_000 }).toBeGreaterThan(1); // refused, then accepted
    await phone.page.getByText("Not sent yet:").waitFor({ state: "detached" });
  }, 40_000);

  it("is replaced by a silent one when no action is needed any more", async () => {
    const { push, standing } = await pushTarget(phone);
    await push(jammed("item-1"));
    const over = await push(
      jammed("item-2", {
        title: "Acknowledged by Ada: tray jammed at Larch",
        body: "No action is needed.",
        isClosing: true,
      }),
    );
    expect(over).toMatchObject({ title: "Acknowledged by Ada: tray jammed at Larch", actions: [], silent: true });
    expect(await standing("alarm-larch-jam")).toEqual([
      "Acknowledged by Ada: tray jammed at Larch | No action is needed.",
    ]);
    await expect.poll(() => shownItems().sort(), { timeout: 5_000 }).toEqual(["item-1", "item-2"]);
  }, 40_000);

  it("is closed when the page sees that its alarm needs no action any more", async () => {
    const { push, standing } = await pushTarget(phone);
    await push(jammed("item-1"));
    larchIsWell();
    await phone.page.reload();
    await phone.page.getByRole("link", { name: "Larch", exact: true }).waitFor();
    await phone.page.waitForLoadState("networkidle");
    expect(await standing("alarm-larch-jam")).toEqual([]);
  }, 40_000);
});

/** As the server knows it from now on. */
function larchIsWell(): void {
  const home = homeViewFixture(Date.now());
  server.home = {
    ...home,
    yards: home.yards.map((yard) => ({
      ...yard,
      feeders: yard.feeders.map((feeder) => ({ ...feeder, revision: feeder.revision + 1, alarms: [] })),
    })),
  };
}
