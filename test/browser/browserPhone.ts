import { AxeBuilder } from "@axe-core/playwright";
import { type Browser, type BrowserContext, chromium, type Page } from "playwright-core";
import { expect } from "vitest";

/** Chromium without anything that would talk to the outside, or to a sandbox that containers don't have. */
export const launchBrowser = (executablePath: string, moreArguments: readonly string[] = []): Promise<Browser> =>
  chromium.launch({
    executablePath,
    args: [
      "--headless",
      "--no-sandbox",
      "--disable-gpu",
      "--disable-quic",
      "--no-first-run",
      "--disable-background-networking",
      "--disable-component-update",
      "--disable-sync",
      ...moreArguments,
    ],
  });

const phoneSize = { width: 390, height: 844 };
const deskSize = { width: 1280, height: 800 };

/** A phone of a keeper, and the errors of its browser. */
export interface BrowserPhone {
  readonly context: BrowserContext;
  readonly page: Page;
  /** Errors in the console, thrown errors, violations of the content policy (the browser writes those there too). */
  readonly complaints: readonly string[];
  /** Refusals by the server: "401 GET /api/v1/home". The browser writes each into the console as well. */
  readonly refusals: readonly string[];
  offline(is: boolean): Promise<void>;
}

export async function openBrowserPhone(
  browser: Browser,
  options: Parameters<Browser["newContext"]>[0] = {},
): Promise<BrowserPhone> {
  const context = await browser.newContext({ viewport: phoneSize, timezoneId: "Europe/Stockholm", ...options });
  context.setDefaultTimeout(20_000);
  const complaints: string[] = [];
  const refusals: string[] = [];
  let isOffline = false;
  context.on("console", (message) => {
    if (message.type() !== "error") return;
    const text = message.text();
    if (/^Failed to load resource: the server responded with a status of 4\d\d/.test(text)) return;
    if (/^WebSocket connection to '\S+\/live' failed: HTTP Authentication failed/.test(text)) return; // as a 401 above
    if (isOffline && text.includes("net::ERR_INTERNET_DISCONNECTED")) return;
    complaints.push(text);
  });
  context.on("weberror", (thrown) => complaints.push(thrown.error().message));
  context.on("response", (response) => {
    if (response.status() >= 400)
      refusals.push(`${response.status()} ${response.request().method()} ${new URL(response.url()).pathname}`);
  });
  return {
    context,
    page: await context.newPage(),
    complaints,
    refusals,
    async offline(is) {
      isOffline = is || isOffline; // a request that failed offline may be reported a moment after the connection is back
      await context.setOffline(is);
    },
  };
}

/** Checks the accessibility of the screen as it is, and names the screen where a problem is found. */
export async function checkAccessibility(page: Page, name: string): Promise<void> {
  expect.soft(await accessibilityProblems(page), name).toEqual([]);
}

/**
 * Checks on a phone and a wide screen, light and dark: for serious findings of the accessibility checker, anything wider
 * than the screen, and a bottom navigation that covers the page's end.
 */
export async function accessibilityProblems(page: Page): Promise<readonly string[]> {
  const problems: string[] = [];
  for (const size of [phoneSize, deskSize]) {
    await page.setViewportSize(size);
    // Both widths have the same colours: in the dark they are checked on the phone alone.
    for (const colorScheme of size === phoneSize ? (["light", "dark"] as const) : (["light"] as const)) {
      await page.emulateMedia({ colorScheme });
      const findings = await seriousFindings(page, colorScheme === "light" ? "all" : "colors");
      problems.push(...findings.map((finding) => `${size.width} wide, ${colorScheme}: ${finding}`));
    }
    const { sideways, covered } = await page.evaluate(() => {
      const at = scrollY;
      scrollTo(0, document.documentElement.scrollHeight);
      const end = document.querySelector("footer")?.getBoundingClientRect().bottom ?? 0;
      const tabs = document.querySelector("nav.tabs");
      const fixed = tabs !== null && getComputedStyle(tabs).position === "fixed";
      const top = fixed ? tabs.getBoundingClientRect().top : innerHeight;
      scrollTo(0, at);
      return { sideways: document.documentElement.scrollWidth - innerWidth, covered: end - top };
    });
    if (sideways > 0) problems.push(`${size.width} wide: scrolls sideways by ${sideways}`);
    if (covered > 0) problems.push(`${size.width} wide: the navigation covers the end by ${covered}`);
  }
  await page.setViewportSize(phoneSize);
  await page.emulateMedia({ colorScheme: "light" });
  return problems;
}

/**
 * The serious findings of the checker, by rule and place.
 * @param rules `colors`: those that the other theme could break, for a page whose structure was already checked
 */
async function seriousFindings(page: Page, rules: "all" | "colors"): Promise<readonly string[]> {
  const checker = new AxeBuilder({ page })
    .setLegacyMode() // no frames here: without it a second page is opened for each check
    .options({ resultTypes: ["violations"] }); // a list of all that is right takes longer than the checks themselves
  const chosen =
    rules === "colors"
      ? checker.withRules(["color-contrast", "link-in-text-block"])
      : checker.withTags(["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]);
  const { violations } = await chosen.analyze();
  return violations
    .filter(({ impact }) => impact === "serious" || impact === "critical")
    .map(({ id, nodes }) => `${id}: ${nodes.map((node) => node.target.join(" ")).join(", ")}`);
}

/** Resolves once the service worker serves this page. */
export const untilWorkerControls = (page: Page): Promise<unknown> =>
  page.evaluate(() =>
    navigator.serviceWorker.ready.then(
      () =>
        navigator.serviceWorker.controller !== null ||
        new Promise((resolve) => navigator.serviceWorker.addEventListener("controllerchange", resolve, { once: true })),
    ),
  );

interface Shown {
  readonly title: string;
  readonly body: string;
  readonly path: string;
  readonly actions: readonly string[];
  readonly silent: boolean;
}

export interface PushTarget {
  /** @returns what the worker showed for it */
  push(data: string): Promise<Shown>;
  /** Taps the newest notification. A test's tap gives no right to come to the front, so that alone is granted here. */
  tap(): Promise<void>;
  /** Taps a button of the newest notification. @returns the one that replaces it */
  tapAction(action: string): Promise<Shown>;
  /** Lets the browser report a connection again, as it does for a registered sync. */
  sync(): Promise<void>;
  /** The notifications with this tag. To be requested once and not in a loop: this browser loses notifications by that. */
  standing(tag: string): Promise<readonly string[]>;
}

/**
 * Lets the browser deliver pushes as its push service would, and returns what the worker showed for each.
 * It waits for the notification before it pushes, since the two take different ways.
 */
export async function pushTarget({ context, page }: BrowserPhone): Promise<PushTarget> {
  const { origin } = new URL(page.url());
  await context.grantPermissions(["notifications"], { origin });
  await untilWorkerControls(page);
  const worker = context.serviceWorkers()[0];
  if (worker === undefined) throw new Error("expected the service worker to run");
  const debuggerLink = await context.newCDPSession(page);
  const registered = new Promise<string>((resolve) => {
    debuggerLink.on("ServiceWorker.workerRegistrationUpdated", ({ registrations }) => {
      const ours = registrations.find(({ scopeURL }) => scopeURL.startsWith(origin));
      if (ours !== undefined) resolve(ours.registrationId);
    });
  });
  await debuggerLink.send("ServiceWorker.enable");
  const registrationId = await registered;

  const layInWait = () =>
    worker.evaluate(() => {
      const scope = globalThis as unknown as WatchedScope;
      scope.shown = new Promise((resolve, reject) => {
        const { registration } = scope;
        registration.showNotification = async (title, options) => {
          try {
            await ServiceWorkerRegistration.prototype.showNotification.call(registration, title, options);
            const shown = (await registration.getNotifications({ tag: options?.tag ?? "" }))[0];
            if (shown === undefined) throw new Error("the browser did not show the notification");
            scope.notification = shown;
            const { navigate } = shown.data as { navigate: string };
            const { actions = [] } = shown as unknown as { actions?: readonly { title: string }[] };
            resolve({
              title: shown.title,
              body: shown.body,
              path: navigate,
              actions: actions.map((each) => each.title),
              silent: shown.silent === true,
            });
          } catch (cause) {
            reject(cause);
          }
        };
      });
    });
  const whatWasShown = () => worker.evaluate(() => (globalThis as unknown as WatchedScope).shown);
  const tapOn = (action: string) =>
    worker.evaluate(async (name) => {
      const scope = globalThis as unknown as WatchedScope;
      scope.WindowClient.prototype.focus = function () {
        return Promise.resolve(this);
      };
      const work: Promise<unknown>[] = [];
      const tapped = new Event("notificationclick");
      Object.assign(tapped, {
        action: name,
        notification: scope.notification,
        waitUntil: (each: Promise<unknown>) => void work.push(each),
      });
      dispatchEvent(tapped);
      await Promise.all(work);
    }, action);

  return {
    async push(data) {
      await layInWait();
      await debuggerLink.send("ServiceWorker.deliverPushMessage", { origin, registrationId, data });
      return whatWasShown();
    },
    tap: () => tapOn(""),
    async tapAction(action) {
      await layInWait();
      await tapOn(action);
      return whatWasShown();
    },
    async sync() {
      const tag = "send-what-waits";
      await debuggerLink.send("ServiceWorker.dispatchSyncEvent", { origin, registrationId, tag, lastChance: false });
    },
    standing: (tag) =>
      worker.evaluate(async (wantedTag) => {
        const { registration } = globalThis as unknown as WatchedScope;
        return (await registration.getNotifications({ tag: wantedTag })).map(({ title, body }) => `${title} | ${body}`);
      }, tag),
  };
}
interface WatchedScope {
  registration: ServiceWorkerRegistration;
  WindowClient: { prototype: { focus(): Promise<unknown> } };
  shown: Promise<Shown>;
  notification: Notification;
}
