import { execFile } from "node:child_process";
import { join } from "node:path";
import { promisify } from "node:util";
import type { Browser, Page } from "playwright-core";
import { describe, expect, it } from "vitest";
import { pushPayload } from "../../server/domain/push/payload.ts";
import { runBuiltServer } from "../support/builtServer.ts";
import { findChromium } from "../support/chromium.ts";
import { notificationFixture } from "../support/notificationFixture.ts";
import {
  type BrowserPhone,
  checkAccessibility,
  openBrowserPhone,
  pushTarget,
  untilWorkerControls,
} from "./browserPhone.ts";
import { ManualFeeder } from "./manualFeeder.ts";
import { phoneForEachTest } from "./phoneForEachTest.ts";

/** The whole application as a keeper uses it: the built server in its own process, the built client in a real browser. */

const { path: chromiumPath, unlessAbsent } = findChromium();

let browser: Browser;
let scratch: string;
let phone: BrowserPhone;
let page: Page;

phoneForEachTest(chromiumPath, (opened) => {
  ({ browser, phone, page, scratch } = opened);
});

const keeper = { name: "Asta", passphrase: "four black feathers in the snow" };

describe.skipIf(chromiumPath === null)(`the whole application${unlessAbsent}`, () => {
  it("leads a first user from the link to a feeder that confirms a pause", async () => {
    // --- the link
    const firstSignInLink = await startServer();
    await page.goto(firstSignInLink);
    await page.getByLabel("Your name").fill(keeper.name);
    await page.getByLabel("Passphrase").fill("short");
    await page.getByRole("button", { name: "Create account" }).click();
    await page.getByText("Passphrase: must be at least 15 characters").waitFor();
    await checkAccessibility(page, "the link, with a refused passphrase");
    await page.getByLabel("Passphrase").fill(keeper.passphrase);
    await page.getByRole("button", { name: "Create account" }).click();
    await heading("Feeders");
    await page.getByText("No feeders yet.").waitFor();
    expect(page.url()).not.toContain("#"); // the secret doesn't stay in the address
    await checkAccessibility(page, "no feeder yet");

    // --- a feeder, and its first report by exactly the command that the page shows
    await page.getByRole("link", { name: "Add a feeder" }).first().click();
    await heading("Add a feeder");
    await page.getByText("Portion, sensors, battery").click();
    await page.getByRole("button", { name: "Add the feeder" }).click();
    await page.getByText("Name: must not be empty").waitFor();
    await checkAccessibility(page, "adding a feeder, with a refused name");
    await page.getByLabel("Name", { exact: true }).fill("Aspen");
    await page.getByLabel("Food", { exact: true }).selectOption({ label: "Something else" });
    await page.getByLabel("Name of the food").fill("unsalted peanuts");
    await page.getByLabel("Hopper capacity").fill("900");
    await page.getByRole("button", { name: "Add the feeder" }).click();
    await page.getByText("Waiting for Aspen's first report…").waitFor();
    await checkAccessibility(page, "the key");
    const key = await copyableText("Key");
    const unbroken = await markPage();
    const secondTab = await phone.context.newPage(); // the feeder's page in a second tab, before its first report
    await secondTab.goto(new URL("/", page.url()).href);
    await secondTab.getByRole("link", { name: "Aspen", exact: true }).click();
    await secondTab.getByRole("heading", { name: "Waiting for a first report" }).waitFor();
    await checkAccessibility(secondTab, "a feeder without a report");
    await runCommand(await copyableText("First report"));
    await secondTab.getByRole("heading", { name: "Today" }).waitFor();
    await secondTab.close();
    await page.getByText("Report received just now.").waitFor();
    await page.getByRole("link", { name: "Go to Aspen" }).click();
    await heading("Aspen");
    await page.getByText("No birds and no portions were recorded").waitFor();

    // --- a refill
    await page.getByRole("link", { name: "Enter a refill" }).click();
    await heading("Refill Aspen");
    await page.getByLabel("Added some food").check();
    await checkAccessibility(page, "a refill");
    await page.getByLabel("Food added").fill("600");
    await page.getByRole("button", { name: "Save", exact: true }).click();
    await heading("Aspen");
    await page.getByText("About two thirds full of unsalted peanuts.").waitFor();

    // --- a pause: requested, sent, confirmed by the feeder itself
    const feeder = new ManualFeeder(key, new URL(page.url()).origin);
    await page.getByRole("button", { name: "Pause until resumed" }).click();
    await page.getByText("Pause until resumed: requested").waitFor();
    await page.getByText("sent: not yet").waitFor();
    const { orders } = await feeder.reports({ paused: false });
    const [order] = orders;
    if (order === undefined) throw new Error("expected the pause in the response to the report");
    expect(order).toMatchObject({ kind: "pause", until: null });
    await page.getByText("Pause until resumed: sent, not yet confirmed").waitFor();
    await page.getByText("Last reported by the feeder: feeding as usual").waitFor();
    await checkAccessibility(page, "a pause on its way");
    await feeder.reports({ paused: true }, { kind: "order", order: order.id, outcome: "done" });
    await page.getByText("Pause until resumed: confirmed by the feeder").waitFor();
    await page.getByText("Last reported by the feeder: paused").waitFor();
    await page.getByRole("button", { name: "Resume feeding" }).waitFor();
    expect(await unbroken()).toBe(true); // all of it came by the live connection, without a reload

    // --- the other pages
    const feederPath = new URL(page.url()).pathname;
    for (const [path, title] of [
      [`${feederPath}/settings`, "Settings of Aspen"],
      [`${feederPath}/days`, "Days of Aspen"],
      ["/phones", "You"],
      ["/practice", "Practice"],
      ["/cautions", "Safety information"],
      ["/nowhere", "No such page"],
    ] as const) {
      await goTo(path, title);
      await checkAccessibility(page, title);
    }
    await goTo("/", "Feeders");
    await page.getByText("Paused until resumed.").waitFor();
    await page.getByRole("link", { name: "Yard settings My yard" }).click();
    await heading("My yard");
    await page.getByLabel("Latitude").fill("north");
    await page.getByLabel("Longitude").fill("17.8");
    await page.getByRole("button", { name: "Save", exact: true }).click();
    await page.getByText("Latitude: must be a number").waitFor();
    await checkAccessibility(page, "the yard, with a refused place");

    // --- sign out, and in again
    await goTo("/you", "You");
    await page.getByRole("button", { name: "Sign out" }).click();
    await page.waitForURL(`${new URL(page.url()).origin}/`); // the heading may come sooner than the page that signing out loads
    await heading("Sign in");
    await page.getByLabel("Your name").fill(keeper.name);
    await page.getByLabel("Passphrase").fill("four white feathers");
    await page.getByRole("button", { name: "Sign in", exact: true }).click();
    await page.getByText("Name or passphrase is wrong.").waitFor();
    await checkAccessibility(page, "signing in, with a wrong passphrase");
    await page.getByLabel("Passphrase").fill(keeper.passphrase);
    await page.getByRole("button", { name: "Sign in", exact: true }).click();
    await page.getByRole("link", { name: "Aspen", exact: true }).waitFor();

    expect(phone.complaints).toEqual([]);
    expect(new Set(phone.refusals)).toEqual(
      new Set([
        "401 GET /api/v1/home", // before the link was taken, and after signing out
        "401 GET /api/v1/phones", // requested with it on the first page
        "400 POST /api/v1/first-sign-in",
        "400 POST /api/v1/feeders",
        expect.stringMatching(/^400 PATCH \/api\/v1\/yards\//),
        "401 POST /api/v1/session",
      ]),
    );
  }, 180_000);

  it("lets a first user start a practice fault, shows the alarm in time, and deletes all of it at once", async () => {
    await startWithKeeper();
    await goTo("/practice", "Practice");
    await page.getByRole("button", { name: "Start practice" }).click();
    await page.getByLabel("Tray jams").check();
    await checkAccessibility(page, "choosing what goes wrong");
    const chosenAt = performance.now();
    await page.getByRole("button", { name: "Start this fault" }).click();
    await page.getByText("Rowan: tray jams. Its alarm takes up to about two minutes.").waitFor();
    await page.getByRole("link", { name: "Watch Rowan" }).click();
    await heading(/^Rowan/);
    const unbroken = await markPage();
    const alarm = page.getByRole("listitem").filter({ has: page.getByRole("heading", { name: /^Tray jammed/ }) });
    await alarm.waitFor({ timeout: 150_000 - (performance.now() - chosenAt) });
    await alarm.getByText("urgent: act now").waitFor();
    for (const summary of await page.locator("summary").all()) await summary.click();
    await checkAccessibility(page, "an alarm");
    await alarm.getByRole("button", { name: "Acknowledge" }).click();
    await alarm.getByText(/^since .*, acknowledged$/).waitFor();
    expect(await unbroken()).toBe(true);

    expect(await page.getByRole("heading", { level: 1 }).textContent()).toBe("Rowan, practice");
    expect(await page.title()).toBe("Practice: Rowan · Pieward");
    await page.getByRole("button", { name: "Pause until resumed" }).click();
    await page.getByText("Pause until resumed: confirmed by the feeder").waitFor();
    await page.getByText("No notifications for now: tray jammed").waitFor(); // a paused feeder isn't jammed
    await checkAccessibility(page, "an alarm that a pause explains");
    await page.getByRole("link", { name: "All days" }).click();
    await heading(/^Days of Rowan/);
    await page
      .getByRole("img", { name: /visits/ })
      .first()
      .waitFor();
    await checkAccessibility(page, "days of birds");
    await goTo("/", "Feeders");
    await heading(/^Alder Croft.*practice/);
    await page.getByRole("heading", { name: /^Larch.*practice/ }).waitFor();
    await checkAccessibility(page, "feeders, with practice among them");

    await goTo("/practice", "Practice");
    await page.getByRole("button", { name: "Delete practice" }).click();
    await page.getByRole("button", { name: "Start practice" }).waitFor();
    await goTo("/", "Feeders");
    await page.getByText("No feeders yet.").waitFor();
    expect(await page.getByText("Alder Croft").count()).toBe(0);
    expect(phone.complaints).toEqual([]);
  }, 240_000);

  it("opens offline, sends a pause once there is a connection, and opens the feeder from a notification", async () => {
    const { origin } = await startWithKeeper();
    const { id, key } = await addFeeder();
    const feeder = new ManualFeeder(key, origin);
    await feeder.reports({ paused: false });
    await goTo(`/feeders/${id}`, "Aspen");
    await heading("Today");
    await page.getByText("No birds and no portions were recorded").waitFor();
    await untilWorkerControls(page);

    await phone.offline(true);
    await page.reload();
    await page.getByText("No connection to the server.").waitFor();
    await page
      .getByText(/^Data from|as of \d\d:\d\d/)
      .first()
      .waitFor();
    await page.getByText("Last reported by the feeder: feeding as usual").waitFor();
    await page.getByRole("button", { name: "Pause until resumed" }).click();
    await page.getByText("Pause until resumed: not sent yet.", { exact: true }).waitFor();
    await checkAccessibility(page, "a feeder while offline");

    await phone.offline(false);
    await page.getByText("Pause until resumed: requested").waitFor();
    await page.getByText("No connection to the server.").waitFor({ state: "detached" });
    expect((await feeder.reports({ paused: false })).orders).toMatchObject([{ kind: "pause", until: null }]);
    await page.getByText("Pause until resumed: sent, not yet confirmed").waitFor();

    await goTo("/", "Feeders");
    const { push, tap } = await pushTarget(phone);
    const payload = pushPayload(notificationFixture({ title: "Aspen: food low" }), id, origin);
    expect(await push(JSON.stringify(payload))).toMatchObject({
      title: "Aspen: food low",
      body: "About 90 g left, enough until Thursday.",
      path: `/feeders/${id}`,
    });
    await tap();
    await heading("Aspen");
    expect(new URL(page.url()).pathname).toBe(`/feeders/${id}`);
    expect(phone.complaints).toEqual([]);
  }, 120_000);

  it("lets a helper join by a link, who is notified in the escalation order and is offered nothing that would be refused", async () => {
    const { origin } = await startWithKeeper();
    await addFeeder();
    await goTo("/", "Feeders");
    await page.getByText("Notifications are off on all your phones.").waitFor();
    await page.getByRole("link", { name: "Yard settings My yard" }).click();
    await page.getByRole("link", { name: "Recipients" }).click();
    await heading("Recipients of My yard");
    await page.getByText("Asta is notified.").waitFor();
    await page.getByRole("button", { name: "Create link" }).click();
    const link = (await page.locator(".copyable pre").textContent()) ?? "";
    expect(link).toMatch(new RegExp(`^${origin}/join#[\\w-]{43}$`));
    await checkAccessibility(page, "people, with a link to share");

    const bo = await openBrowserPhone(browser);
    await bo.page.goto(link);
    await bo.page.getByLabel("Your name").fill("Bo");
    await bo.page.getByLabel("Passphrase").fill("three grey feathers");
    await bo.page.getByRole("button", { name: "Join" }).click();
    await bo.page.getByRole("heading", { level: 1, name: "You" }).waitFor();
    expect(bo.page.url()).toBe(`${origin}/phones`); // the secret doesn't stay in the address
    await bo.page.goto(origin);
    await bo.page.getByRole("link", { name: "Aspen", exact: true }).click();
    await bo.page.getByRole("button", { name: "Pause until resumed" }).click();
    await bo.page.getByText("Pause until resumed: requested").waitFor();
    expect(await bo.page.getByRole("link", { name: /^Settings/ }).count()).toBe(0);

    await page.reload();
    await page.getByText(/^Asta is notified first/).waitFor();
    await page.getByRole("button", { name: "Move up for Bo" }).click();
    await page.getByText(/^Bo is notified first/).waitFor();
    await page.getByLabel("From").fill("22:00");
    await page.getByLabel("To", { exact: true }).fill("06:30");
    await page.getByRole("button", { name: "Save", exact: true }).click();
    await page.getByText(/No phone, no e-mail\. Quiet hours 22:00 to 06:30/).waitFor();
    await page.getByLabel("Notify the next person after").fill("5");
    await page.getByRole("button", { name: "Save Escalation" }).click();
    await page.getByText(/within 5 minutes, the next person is notified/).waitFor();

    await bo.page.goto(`${page.url()}`);
    await bo.page.getByText("helper, you").waitFor();
    expect(await bo.page.getByRole("button", { name: /Move|Make/ }).count()).toBe(0);
    await checkAccessibility(bo.page, "people, as a helper sees them");
    expect([...phone.complaints, ...bo.complaints]).toEqual([]);
    expect(bo.refusals.filter((refusal) => !refusal.startsWith("401 GET"))).toEqual([]);
    await bo.context.close();
  }, 120_000);
});

// --- the server ----------------------------------------------------------------------------------------------------

/** @returns the link of the first sign-in */
async function startServer(): Promise<string> {
  const server = runBuiltServer(join(scratch, "data"));
  const [, link] = await server.waitForOutput(/\n {2}(http\S+\/first-sign-in#[\w-]{43})\n/);
  return link as string;
}

/** A server with its keeper signed in on this phone, for the tests that begin later. */
async function startWithKeeper(): Promise<{ readonly origin: string }> {
  const link = new URL(await startServer());
  await post(link.origin, "/first-sign-in", { token: link.hash.slice(1), ...keeper, zone: "Europe/Stockholm" });
  await page.goto(link.origin);
  await heading("Feeders");
  return { origin: link.origin };
}

async function addFeeder(): Promise<{ readonly id: string; readonly key: string }> {
  const { origin } = new URL(page.url());
  const home = await (await phone.context.request.get(`${origin}/api/v1/home`)).json();
  const added = await post(origin, "/feeders", { name: "Aspen", yard: home.yards[0].id });
  return { id: added.feeder.id, key: added.key };
}

/** Does what a page would do, with this phone's own session. */
async function post(origin: string, path: string, data: unknown) {
  const response = await phone.context.request.post(`${origin}/api/v1${path}`, { data, headers: { "x-pieward": "1" } });
  if (!response.ok()) throw new Error(`${path} was refused: ${await response.text()}`);
  return response.json();
}

// --- the feeder ----------------------------------------------------------------------------------------------------

/** Runs a command in a shell, unchanged. Where there is no curl, the same request is sent from here, and that is printed. */
async function runCommand(command: string): Promise<void> {
  const shell = promisify(execFile);
  const hasCurl = await shell("sh", ["-c", "command -v curl"]).then(
    () => true,
    () => false,
  );
  if (hasCurl) {
    const { stdout } = await shell("sh", ["-c", command]);
    expect(JSON.parse(stdout)).toMatchObject({ refused: [] });
    return;
  }
  process.stderr.write("There is no curl here: the request of the shown command was sent without it.\n");
  const [, url, key, body] = /^curl (\S+) -H 'authorization: (.+?)' .*-d '(.+)'$/.exec(command) ?? [];
  if (url === undefined || key === undefined || body === undefined) throw new Error(`not understood: ${command}`);
  const headers = { authorization: key, "content-type": "application/json" };
  expect((await fetch(url, { method: "POST", headers, body })).status).toBe(200);
}

// --- the page ------------------------------------------------------------------------------------------------------

const heading = (name: string | RegExp) =>
  page.getByRole("heading", typeof name === "string" ? { name, exact: true } : { name }).waitFor();

async function goTo(path: string, title: string): Promise<void> {
  await page.goto(new URL(path, page.url()).href);
  await heading(title);
}

/** The text above this copy button. */
const copyableText = async (label: "Key" | "First report") =>
  (await page
    .locator(".copyable")
    .filter({ has: page.getByRole("button", { name: `Copy ${label}` }) })
    .locator("pre")
    .textContent()) ?? "";

/** @returns a function: whether this is still the marked page, not reloaded */
async function markPage(): Promise<() => Promise<boolean>> {
  await page.evaluate(() => Object.assign(globalThis, { marked: true }));
  return () => page.evaluate(() => "marked" in globalThis);
}
