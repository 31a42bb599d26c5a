import { readdir, readFile } from "node:fs/promises";
import { join } from "node:path";
import { gzipSync } from "node:zlib";
import type { Browser, Page } from "playwright-core";
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, it } from "vitest";
import { benchViewFixture, runningBench } from "../client/benchFixture.ts";
import { homeViewFixture } from "../client/viewFixtures.ts";
import { findChromium } from "../support/chromium.ts";
import {
  accessibilityProblems,
  type BrowserPhone,
  checkAccessibility,
  launchBrowser,
  openBrowserPhone,
  pushTarget,
  untilWorkerControls,
} from "./browserPhone.ts";
import { type BuiltClient, copyBuiltClient } from "./builtClient.ts";
import { type FakeServer, startFakeServer } from "./fakeServer.ts";

/** The client as it is delivered, in a real browser, under the real content policy. */

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
});
afterEach(async () => {
  await phone.context.close();
  await server.close();
});

const pages = [
  "/",
  "/feeders/larch",
  "/feeders/practice-rowan",
  "/feeders/rowan/days",
  "/days",
  "/you",
  "/feeders/rowan/plan",
  "/feeders/rowan/bench",
  "/feeders/rowan/refill",
  "/feeders/rowan/settings",
  "/feeders/new",
  "/yards/alder-croft",
  "/yards/alder-croft/digest",
  "/yards/alder-croft/recipients",
  "/yards/alder-croft/alarm-history",
  "/yards/alder-croft/training",
  "/yards/alder-croft/training/programme",
  "/yards/alder-croft/notes",
  "/yards/alder-croft/pictures",
  "/yards/alder-croft/report",
  "/join#some-secret",
  "/phones",
  "/practice",
  "/cautions",
];

describe.skipIf(chromiumPath === null)(`the built client${unlessAbsent}`, () => {
  it("is small enough for a slow rural connection", async () => {
    // The files that the first page names; the worker loads the rest later.
    const first = (await readFile(join(client.folder, "index.html"), "utf8")).matchAll(
      /(?:src|href)="\/(assets\/[^"]+)"/g,
    );
    let octets = 0;
    for (const [, name] of first) octets += gzipSync(await readFile(join(client.folder, name ?? ""))).length;
    expect(octets).toBeLessThan(48_000); // a first opening in about 4 s at 100 kbit/s; common practice, no source
    expect(octets).toBeGreaterThan(10_000); // and the measure measures something
  });

  it("contains no validation of requests, which is the server's part", async () => {
    for (const name of await readdir(join(client.folder, "assets"))) {
      expect(await readFile(join(client.folder, "assets", name), "utf8")).not.toMatch(
        /ZodError|must be 8 to 64 letters/,
      );
    }
  });

  // WCAG 2.2, 1.4.10: no scrolling sideways at 320 CSS pixels.
  it("works under the strict content policy and fits the narrowest phone, on every page", async () => {
    await page.setViewportSize({ width: 320, height: 640 });
    for (const path of pages) {
      await page.goto(server.origin + path);
      await page.getByRole("heading", { level: 1 }).waitFor();
      await page.waitForLoadState("networkidle");
      const wide = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
      expect.soft(wide, path).toBeLessThanOrEqual(0);
      // WCAG 2.2, 1.4.4: text at 200 %, on a usual phone.
      await page.setViewportSize({ width: 390, height: 844 });
      const enlarged = await page.evaluate(() => {
        document.documentElement.style.fontSize = "200%";
        const { scrollWidth } = document.documentElement;
        document.documentElement.style.fontSize = "";
        return scrollWidth - innerWidth;
      });
      expect.soft(enlarged, `${path}, text at 200 %`).toBeLessThanOrEqual(0);
      await page.setViewportSize({ width: 320, height: 640 });
    }
    expect(phone.complaints).toEqual([]);

    // And a violation would have been reported.
    await page.evaluate(() => {
      const foreign = document.createElement("img");
      foreign.src = "http://elsewhere.example/pixel.png";
      document.body.append(foreign);
    });
    await expect
      .poll(() => phone.complaints, { timeout: 5_000 })
      .toEqual([expect.stringContaining("Content Security Policy")]);
  }, 60_000);

  // Alarms and a pause in rare states; the other screens are checked in the tests that use them.
  it("has accessible alarms in every state", async () => {
    await page.goto(`${server.origin}/feeders/larch`);
    await page.getByRole("heading", { level: 1 }).waitFor();
    await page.waitForLoadState("networkidle");
    for (const summary of await page.locator("summary").all()) await summary.click();
    await checkAccessibility(page, "a feeder with many alarms");
  }, 60_000);

  it("has accessible people, phones and invitations in every state", async () => {
    for (const [path, ready] of [
      ["/yards/alder-croft/recipients", /^Ada is notified first/],
      ["/phones", "Your phones"],
      ["/join#some-secret", /^You are invited to help with the feeders/],
      ["/feeders/rowan/settings", "Where is it now?"],
      ["/feeders/rowan/plan", /^Rowan follows this plan/],
    ] as const) {
      await page.goto(server.origin + path);
      await page.getByText(ready).waitFor();
      await page.waitForLoadState("networkidle");
      for (const summary of await page.locator("summary").all()) await summary.click();
      await checkAccessibility(page, path);
    }
  }, 120_000);

  it("has an accessible bench run at each step, and prints its result without its buttons", async () => {
    const steps = ["quiet", "portions", "weigh", "caps", "presses", "knownMass", "soak", "settle"] as const;
    for (const at of steps) {
      server.bench = benchViewFixture(Date.now(), { current: runningBench(Date.now(), at) });
      await page.goto(`${server.origin}/feeders/rowan/bench`);
      await page.getByRole("heading", { name: "Steps" }).waitFor();
      for (const summary of await page.locator("summary").all()) await summary.click();
      await checkAccessibility(page, `the step ${at}`);
    }
    server.bench = benchViewFixture(Date.now());
    await page.goto(`${server.origin}/feeders/rowan/bench`);
    await page.getByText(/^Ready to go outdoors/).waitFor();
    await checkAccessibility(page, "a result");
    await page.emulateMedia({ media: "print" });
    expect(await page.getByText(/^Ready to go outdoors/).isVisible()).toBe(true);
    expect(await page.getByRole("button", { name: /Print|Start|Use/ }).count()).toBe(0);
    await page.emulateMedia({ media: null });
  }, 120_000);

  it("has accessible days with each table open, and what is a person's own", async () => {
    await page.goto(`${server.origin}/days/rowan`);
    await page.getByRole("img", { name: "Battery" }).waitFor();
    for (const summary of await page.locator("summary").all()) await summary.click();
    await checkAccessibility(page, "the days");
    await page.getByRole("slider", { name: "Hour" }).focus();
    await page.keyboard.press("Home");
    expect(await page.getByRole("slider", { name: "Hour" }).getAttribute("aria-valuetext")).toMatch(/^0 to 1 h: /);
    await page.goto(`${server.origin}/you`);
    await page.getByRole("heading", { name: "More" }).waitFor();
    await checkAccessibility(page, "what is a person's own");
  }, 60_000);

  it("has an accessible training record, and a programme with each stage open", async () => {
    const whole = server.training;
    const { advice } = whole;
    for (const [name, training] of [
      ["the whole record", whole],
      ["a stage to pause", { ...whole, unreadableDays: 2, advice: advice && { ...advice, pauseStage: true } }],
      ["no stage started", { ...whole, periods: [], advice: null, judgement: null, days: [], actsByHour: null }],
    ] as const) {
      server.training = training;
      await page.goto(`${server.origin}/yards/alder-croft/training`);
      await page.getByText("Start another stage").waitFor();
      for (const summary of await page.locator("summary").all()) await summary.click();
      await checkAccessibility(page, name);
    }
    server.training = whole;
    await page.goto(`${server.origin}/yards/alder-croft/training/programme`);
    await page.getByRole("heading", { name: "Dated changes" }).waitFor();
    for (const summary of await page.locator("summary").all()) await summary.click();
    await checkAccessibility(page, "the programme");
  }, 120_000);

  it("reads a picture of the training out by keys and by touch, and moves a stage without losing the focus", async () => {
    await page.goto(`${server.origin}/yards/alder-croft/training`);
    const hours = page.getByRole("figure", { name: "Over the day" });
    const slider = hours.getByRole("slider");
    await slider.focus();
    await page.keyboard.press("ArrowLeft");
    expect(await slider.getAttribute("aria-valuetext")).toBe("08:00 to 09:00: 2.1 acts a day");
    const box = await hours.getByRole("img").boundingBox();
    if (box === null) throw new Error("expected a picture");
    await hours.getByRole("img").click({ position: { x: box.width - 8, y: 40 } });
    expect(await slider.getAttribute("aria-valuetext")).toMatch(/^23:00/);

    await page.goto(`${server.origin}/yards/alder-croft/training/programme`);
    await page.getByRole("button", { name: "Move up Drop a cap" }).click();
    await expect
      .poll(() => page.evaluate(() => document.activeElement?.getAttribute("aria-label")))
      .toBe("Move up Drop a cap");
    await page.getByRole("button", { name: "Move up Drop a cap" }).click();
    await page.getByRole("button", { name: "Move up Drop a cap" }).click();
    await expect
      .poll(() => page.evaluate(() => document.activeElement?.getAttribute("aria-label")))
      .toBe("Move down Drop a cap");
  }, 60_000);

  it("has an accessible alarm history", async () => {
    await page.goto(`${server.origin}/yards/alder-croft/alarm-history`);
    await page.getByText(/^14 alarms in 30 days/).waitFor();
    for (const summary of await page.locator("summary").all()) await summary.click();
    await checkAccessibility(page, "the alarms themselves");
  }, 60_000);

  it("is checked by a tool that finds planted problems", async () => {
    await page.setContent(`<!doctype html><html lang="en"><title>Planted</title><main><h1>Planted</h1>
      <p style="width: 500px; height: 900px">Too wide for a phone.</p><p class="faint">Too faint by night.</p>
      <style>.faint { color: #000; background: #fff } nav { position: fixed; bottom: 0 }
        @media (prefers-color-scheme: dark) { .faint { color: #ddd } }</style></main>
      <nav class="tabs"><a href="/">Feeders</a></nav><footer>The end</footer>`);
    const seen = await accessibilityProblems(page);
    expect(seen).toContainEqual("390 wide, dark: color-contrast: .faint");
    expect(seen).not.toContainEqual("390 wide, light: color-contrast: .faint");
    expect(seen).toContainEqual(expect.stringMatching(/^390 wide: scrolls sideways by \d+$/));
    expect(seen.join()).not.toMatch(/1280 wide: scrolls/);
    expect(seen).toContainEqual(expect.stringMatching(/^390 wide: the navigation covers the end by/));
  });

  it("has touch targets of 44 pixels", async () => {
    for (const path of pages) {
      await page.goto(server.origin + path);
      await page.getByRole("heading", { level: 1 }).waitFor();
      const small = await page.evaluate(() =>
        [
          ...document.querySelectorAll<HTMLElement>(
            "button, .button, nav a, summary, .choice, .back, input:not([type=radio], [type=checkbox])",
          ),
        ]
          .filter((element) => element.offsetParent !== null || element.closest("nav") !== null)
          .map((element) => ({
            text: element.textContent || element.getAttribute("name"),
            height: element.getBoundingClientRect().height,
          }))
          .filter(({ height }) => height > 0 && height < 44),
      );
      expect.soft(small, path).toEqual([]);
    }
  }, 60_000);

  it("shows changes of the feeder while it is open", async () => {
    await page.goto(`${server.origin}/feeders/rowan`);
    await page.getByText("Enough until Saturday").waitFor();
    await page.waitForLoadState("networkidle");
    server.home = {
      ...homeViewFixture(Date.now()),
      yards: homeViewFixture(Date.now()).yards.map((yard) => ({
        ...yard,
        feeders: yard.feeders.map((feeder) =>
          feeder.id === "rowan"
            ? { ...feeder, revision: 13, hopper: { ...feeder.hopper, text: "enough until Friday, 80 % sure" } }
            : feeder,
        ),
      })),
    };
    server.send({ kind: "changed", feeder: "rowan", revision: 13 });
    await page.getByText("Enough until Friday").waitFor({ timeout: 5_000 });
  }, 20_000);
});

describe.skipIf(chromiumPath === null)(`the service worker${unlessAbsent}`, () => {
  it("shows the training record in the garden, where there is no connection, with its own style sheet", async () => {
    await page.goto(`${server.origin}/yards/alder-croft/training`);
    await page.getByText("Stage 3 of 5").waitFor();
    await untilWorkerControls(page);
    await phone.offline(true);
    await page.reload();
    await page.getByText("Stage 3 of 5").waitFor();
    await page.getByText(/^Data from/).waitFor();
    expect(await page.locator(".advice").evaluate((part) => getComputedStyle(part).borderLeftWidth)).toBe("4px");
  }, 30_000);

  it("opens at once with the last known state, and sends a pause when the connection is back", async () => {
    await page.goto(`${server.origin}/feeders/rowan`);
    await page.getByText(/^Birds came from/).waitFor();
    await untilWorkerControls(page);

    await phone.offline(true);
    await page.reload();
    await page.getByText("Enough until Saturday").waitFor();
    await page.getByText("No connection to the server.").waitFor();
    await page.getByText(/^Birds came from/).waitFor();
    await page.getByRole("button", { name: "Pause until resumed" }).click();
    await page.getByText("Pause until resumed: not sent yet.", { exact: true }).waitFor();
    expect(server.receivedCalls).toEqual([]);

    await page.reload(); // the phone was put away and taken out again
    await page.getByText("Pause until resumed: not sent yet.", { exact: true }).waitFor();

    await phone.offline(false);
    await expect.poll(() => server.receivedCalls.length, { timeout: 5_000 }).toBe(1);
    expect(server.receivedCalls[0]).toMatchObject({
      method: "POST",
      path: "/feeders/rowan/orders",
      body: { kind: "pause", until: null },
    });
    await page.getByText("Pause until resumed: not sent yet.", { exact: true }).waitFor({ state: "detached" });
  }, 40_000);

  it("shows each push as a notification, also one that it can't read", async () => {
    await page.goto(server.origin);
    const { push } = await pushTarget(phone);
    const notification = {
      title: "Rowan: tray jammed",
      body: "Three portions ran and nothing fell.",
      navigate: "/feeders/rowan",
      tag: "rowan-trayJammed",
      data: { priority: "urgent" },
    };
    expect(await push(JSON.stringify({ web_push: 8030, notification }))).toMatchObject({
      title: "Rowan: tray jammed",
      body: "Three portions ran and nothing fell.",
      path: "/feeders/rowan",
    });
    expect(await push("\u0000 not ours")).toMatchObject({ title: "Pieward", path: "/" });
  }, 40_000);

  it("shows that there is a new version, and waits for the keeper's tap", async () => {
    await page.goto(server.origin);
    await untilWorkerControls(page);
    server.workerSuffix = "\n// a newer build";
    let reloads = 0;
    page.on("load", () => {
      reloads += 1;
    });
    await page.evaluate(() => navigator.serviceWorker.getRegistration().then((registration) => registration?.update()));
    await page.getByText("A new version is available.").waitFor();
    expect(reloads).toBe(0);
    await page.getByRole("button", { name: "Update now" }).click();
    await expect.poll(() => reloads, { timeout: 5_000 }).toBe(1);
    await page.getByText("A new version is available.").waitFor({ state: "detached" });
  }, 40_000);
});
