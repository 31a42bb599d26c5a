import type { Browser } from "playwright-core";
import { afterAll, beforeAll, describe, it, type TestContext } from "vitest";
import { phonesViewFixture } from "../client/viewFixtures.ts";
import { findChromium } from "../support/chromium.ts";
import { launchBrowser, openBrowserPhone } from "./browserPhone.ts";
import { type BuiltClient, copyBuiltClient } from "./builtClient.ts";
import { startFakeServer } from "./fakeServer.ts";

/** A page that stays open while the server stops, starts again, has a problem, or ends the session. */

const { path: chromiumPath, unlessAbsent } = findChromium();

let client: BuiltClient;
let browser: Browser;

beforeAll(async () => {
  client = await copyBuiltClient();
  browser = await launchBrowser(chromiumPath as string);
}, 60_000);
afterAll(async () => {
  await browser?.close();
  await client?.remove();
});

/** A server and a phone for one test alone: the tests mostly wait, so they do so at the same time. */
async function open({ onTestFinished }: TestContext) {
  const server = await startFakeServer(client.folder);
  const { context, page } = await openBrowserPhone(browser, { serviceWorkers: "block" });
  onTestFinished(async () => {
    await context.close();
    await server.close();
  });
  return {
    server,
    page,
    context,
    away: () => page.getByText("No connection to the server."),
    rowan: () => page.getByRole("link", { name: "Rowan", exact: true }).first(),
    requestsTo: (path: string) => server.requests.filter((each) => each.path === `/api/v1${path}`),
    signedOut: () => page.getByText("You were signed out. Sign in again. What you entered is still here."),
    async signIn() {
      await page.getByLabel("Your name").fill(server.home.keeper.name);
      await page.getByLabel("Passphrase").fill("four black feathers in the snow");
      await page.getByRole("button", { name: "Sign in", exact: true }).click();
    },
  };
}

describe.skipIf(chromiumPath === null)(`an open page${unlessAbsent}`, { concurrent: true }, () => {
  it("shows within seconds that this phone was removed elsewhere", async (test) => {
    const { expect } = test;
    const { server, page } = await open(test);
    // This browser holds the endpoint of the first phone.
    await page.addInitScript(() => {
      Object.defineProperty(navigator, "serviceWorker", {
        value: Object.assign(new EventTarget(), {
          controller: null,
          getRegistration: async () => ({
            pushManager: { getSubscription: async () => ({ endpoint: "https://push.example/a" }) },
          }),
          register: () => Promise.reject(new Error("no worker in this test")),
        }),
      });
    });
    await page.goto(`${server.origin}/phones`);
    await page.getByRole("heading", { name: "Android phone (this phone)" }).waitFor();
    expect(await page.getByRole("button", { name: "Turn on" }).count()).toBe(0);
    await page.waitForLoadState("networkidle");

    const known = phonesViewFixture(Date.now());
    server.phones = { ...known, phones: known.phones.slice(1) };
    server.send({ kind: "phones" });
    await page.getByRole("heading", { name: /Android phone/ }).waitFor({ state: "detached", timeout: 3_000 });
    await page.getByText("Old phone").first().waitFor();
    await page.getByRole("button", { name: "Turn on" }).waitFor();
  }, 30_000);

  // Also after a long absence, when the waits between tries have grown.
  it.for([7_000, 20_000])(
    "reconnects within 5 s of the server's return after %i ms, and makes few requests while it is away",
    { timeout: 60_000 },
    async (awayMs, test) => {
      const { expect } = test;
      const { server, page, context, away, rowan, requestsTo } = await open(test);
      await page.goto(server.origin);
      await rowan().waitFor();
      await page.waitForLoadState("networkidle");
      let tries = 0;
      context.on("requestfailed", () => {
        tries += 1;
      });
      const listens = requestsTo("/live").length;
      await server.stop();
      await away().waitFor();
      await page.waitForTimeout(awayMs - 6_000);
      tries = 0;
      await page.waitForTimeout(6_000);
      expect(tries).toBeLessThanOrEqual(6);
      await server.start();
      const backAt = performance.now();
      await away().waitFor({ state: "detached", timeout: 5_000 });
      expect(performance.now() - backAt).toBeLessThan(5_000);
      await expect.poll(() => requestsTo("/live").length, { timeout: 5_000 }).toBeGreaterThan(listens); // and gets changes again
    },
  );

  it("tries again by itself after a 500, shows that, and waits as long as the server requests", async (test) => {
    const { expect } = test;
    const { server, page, rowan, requestsTo } = await open(test);
    let troubles = 0;
    server.trouble = (method, path) => {
      if (method !== "GET" || path !== "/home" || troubles >= 3) return null;
      troubles += 1;
      return troubles === 1 ? { status: 500 } : { status: 500, headers: { "retry-after": "3" } };
    };
    await page.goto(server.origin);
    await page.getByText("The server has a problem. Pieward tries again automatically.").waitFor({ timeout: 5_000 });
    await rowan().waitFor({ timeout: 20_000 });
    await page.getByText("The server has a problem.").waitFor({ state: "detached" });
    const [, second, third] = requestsTo("/home");
    expect((third?.at ?? 0) - (second?.at ?? 0)).toBeGreaterThan(2_900);
  }, 40_000);

  it("repeats the request of a part of a page too", async (test) => {
    const { server, page } = await open(test);
    let troubles = 0;
    server.trouble = (_method, path) => {
      if (!path.endsWith("/day") || troubles >= 2) return null;
      troubles += 1;
      return { status: 500 };
    };
    await page.goto(`${server.origin}/feeders/rowan`);
    await page.getByText("The server has a problem. Pieward tries again automatically.").waitFor({ timeout: 5_000 });
    await page.getByText(/^Birds came from/).waitFor({ timeout: 15_000 });
    await page.getByText("The server has a problem.").waitFor({ state: "detached" });
  }, 40_000);

  it("never shows a connection as live that does not reply any more", async (test) => {
    const { server, page, away, rowan } = await open(test);
    await page.goto(server.origin);
    await rowan().waitFor();
    await page.waitForLoadState("networkidle");
    server.isUnresponsive = true;
    await away().waitFor({ timeout: 20_000 });
    server.isUnresponsive = false;
    await away().waitFor({ state: "detached", timeout: 9_000 }); // a try without a response may have to time out first
  }, 60_000);
});

describe.skipIf(chromiumPath === null)(`a session that has ended${unlessAbsent}`, { concurrent: true }, () => {
  it("keeps what was entered in the settings, through signing in again", async (test) => {
    const { expect } = test;
    const { server, page, signedOut, signIn } = await open(test);
    await page.goto(`${server.origin}/feeders/rowan/settings`);
    await page.getByLabel("Name", { exact: true }).fill("Rowan by the gate");
    await page.getByLabel("Hopper capacity").fill("1234");
    await page.getByLabel("Button").uncheck();
    server.signedIn = false;
    await page.getByRole("button", { name: "Save" }).click();
    await signedOut().waitFor();
    await signIn();
    await page.getByText("You were signed out, so this was not saved. Save again.").waitFor();
    expect(new URL(page.url()).pathname).toBe("/feeders/rowan/settings");
    expect(await page.getByLabel("Name", { exact: true }).inputValue()).toBe("Rowan by the gate");
    expect(await page.getByLabel("Hopper capacity").inputValue()).toBe("1234");
    expect(await page.getByLabel("Button").isChecked()).toBe(false);
    await page.getByRole("button", { name: "Save" }).click();
    await page.getByRole("heading", { level: 1, name: "Rowan" }).waitFor();
    expect(server.receivedCalls.at(-1)).toMatchObject({
      method: "PATCH",
      path: "/feeders/rowan",
      body: { name: "Rowan by the gate", hopperCapacityGrams: 1234, sensors: { button: false } },
    });
  }, 40_000);

  it("keeps a refill that is being entered, and one that was sent meanwhile", async (test) => {
    const { expect } = test;
    const { server, page, signedOut, signIn } = await open(test);
    await page.goto(`${server.origin}/feeders/rowan/refill`);
    await page.getByLabel("Added some food").check();
    await page.getByLabel("Food added").fill("640");
    await page.waitForLoadState("networkidle");
    server.signedIn = false;
    server.send({ kind: "changed", feeder: "rowan", revision: 99 }); // the first request finds out
    await signedOut().waitFor();
    await signIn();
    await page.getByRole("heading", { level: 1, name: "Refill Rowan" }).waitFor();
    expect(await page.getByLabel("Added some food").isChecked()).toBe(true);
    expect(await page.getByLabel("Food added").inputValue()).toBe("640");

    server.signedIn = false;
    await page.getByRole("button", { name: "Save" }).click();
    await signedOut().waitFor();
    await signIn();
    await page.getByRole("heading", { level: 1, name: "Rowan" }).waitFor();
    const refills = () => server.receivedCalls.filter(({ path }) => path.endsWith("/refills"));
    await expect.poll(() => refills().length, { timeout: 8_000 }).toBeGreaterThanOrEqual(2);
    expect(refills().at(-1)?.body).toMatchObject({ what: { kind: "added", grams: 640 } });
    await page.getByText("Not sent yet:").waitFor({ state: "detached" });
  }, 40_000);

  it("shows nothing of it on a first visit, and the server's text for a wrong passphrase", async (test) => {
    const { expect } = test;
    const { server, page } = await open(test);
    server.signedIn = false;
    await page.goto(server.origin);
    await page.getByRole("heading", { level: 1, name: "Sign in" }).waitFor();
    expect(await page.getByText("You were signed out.").count()).toBe(0);
    await page.getByLabel("Your name").fill("Ada");
    await page.getByLabel("Passphrase").fill("wrong");
    await page.getByRole("button", { name: "Sign in", exact: true }).click();
    await page.getByText("The name and the passphrase don't belong together.").waitFor();
  }, 40_000);
});
