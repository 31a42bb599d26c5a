import { createServer } from "node:net";
import { join } from "node:path";
import type { Page } from "playwright-core";
import { describe, it, type TestContext } from "vitest";
import { type RunningServer, spawnBuiltServer } from "../support/builtServer.ts";
import { findChromium } from "../support/chromium.ts";
import { sharedBrowser } from "./phoneForEachTest.ts";

/**
 * Two windows of one keeper on a feeder's page, while the feeder follows orders, reports wrongly, restarts and gives food, and the
 * server is killed and started again. Both are read all the time: neither shows more of the pause than was reported to the server.
 */

const { path: chromiumPath, unlessAbsent } = findChromium();

const { open } = sharedBrowser(chromiumPath);

// Both mostly wait for pages and servers, so they do so at the same time.
describe.skipIf(chromiumPath === null)(`two windows on one feeder${unlessAbsent}`, { concurrent: true }, () => {
  it("never show more of a pause than is known, while the feeder reports wrongly and the server stops", async (test) => {
    const { expect } = test;
    const world = await opened(test);
    const { judge } = world;
    const watching = judge.watch();
    for (const scenario of scenarios) {
      await scenario(world);
      await judge.settles();
    }
    await judge.end();
    await watching;
    expect(judge.violations.slice(0, 10)).toEqual([]);
    // Each scenario has shown its state in both windows.
    for (const seen of judge.seen) expect([...seen].sort()).toEqual(["away", "confirmed", "feeding", "notKept"]);
  }, 180_000);

  it("would be detected if one went on showing a pause as confirmed", async (test) => {
    const { expect } = test;
    const world = await opened(test);
    const { windows, judge } = world;
    const lying = windows[1] as Page;
    await lying.route(/\/api\/v1\/(home|feeders\/[^/]+)$/, async (route) => {
      const response = await route.fetch();
      const text = (await response.text()).replace(
        /"status":"(sent|requested|overdue|contradicted)"/g,
        '"status":"confirmed"',
      );
      await route.fulfill({ response: response, body: text });
    });
    const watching = judge.watch();
    await obeyed(world);
    await judge.settles();
    await contradicted(world);
    await judge.settles();
    await judge.end();
    await watching;
    await lying.unrouteAll({ behavior: "ignoreErrors" }); // its server is killed with the test
    expect(judge.violations.length).toBeGreaterThan(0);
    expect(judge.violations.every((violation) => violation.startsWith("window 2"))).toBe(true);
  }, 120_000);
});

// --- the scenarios -----------------------------------------------------------------------------------------------------

interface World {
  readonly feeder: Sender;
  readonly windows: readonly Page[];
  readonly judge: Judge;
  readonly server: RestartableServer;
}

type Scenario = (world: World) => Promise<void>;

/** A window requests an order, the feeder gets it with its next report, and carries it out. */
const obeyed: Scenario = async ({ feeder, windows, judge }) => {
  await press(windows[0] as Page, "Pause until resumed");
  await judge.learns("feeding", () => feeder.reports({ paused: false }));
  await judge.learns("paused", () => feeder.carriesOut({ paused: true }));
};
const contradicted: Scenario = ({ feeder, judge }) => judge.learns("feeding", () => feeder.reports({ paused: false }));
const startsAnew: Scenario = ({ feeder, judge }) => judge.learns("unknown", () => feeder.startsAnew());
const feedsThoughPaused: Scenario = ({ feeder, judge }) => judge.learns("feeding", () => feeder.reports({}, [portion]));
const remembers: Scenario = async ({ feeder, judge }) => {
  await feeder.startsAnew();
  await judge.learns("paused", () => feeder.carriesOut({ paused: true }));
};
const resumed: Scenario = async ({ feeder, windows, judge }) => {
  await press(windows[1] as Page, /Resume feeding|Cancel the pause/);
  await judge.learns("unknown", () => feeder.reports({}));
  await judge.learns("feeding", () => feeder.carriesOut({ paused: false }));
};
const serverDies: Scenario = async ({ judge, server }) => {
  judge.serverIsAway();
  await server.kill();
  await judge.settles();
  await server.start();
  judge.serverIsBack();
};

const scenarios: readonly Scenario[] = [
  obeyed,
  startsAnew,
  remembers,
  serverDies,
  contradicted,
  resumed,
  obeyed,
  serverDies,
  feedsThoughPaused,
  resumed,
];

const portion = { kind: "portion", cause: "timer", motorMs: 100 };

async function press(page: Page, name: string | RegExp): Promise<void> {
  await page.getByRole("button", { name }).first().click();
}

// --- what is known and what is shown ----------------------------------------------------------------------------------

type Known = "paused" | "feeding" | "unknown";

/** A page gets a change at once and requests the rest: it may not be behind for longer than this. */
const lagMaxMs = 3_000;
/** A page shows within this that the server is away. */
const awayMaxMs = 5_000;
/** After the server's return a page finds it again within 5 s. */
const returnMaxMs = 6_500;
/** How long both windows must show what is known before the next change. */
const calmMs = 1_000;

interface Shown {
  readonly confirmed: boolean;
  readonly feeding: boolean;
  readonly notKept: boolean;
  readonly away: boolean;
}

class Judge {
  readonly violations: string[] = [];
  readonly seen: readonly Set<string>[];
  readonly #windows: readonly Page[];
  #known: Known = "feeding";
  #changing = false;
  #isAway = false;
  #behindUntil = 0;
  /** Since when each window shows what is known; null while it is still behind. */
  #rightSince: (number | null)[];
  #ended = false;

  constructor(windows: readonly Page[]) {
    this.#windows = windows;
    this.seen = windows.map(() => new Set<string>());
    this.#rightSince = windows.map(() => null);
    this.#windowsMayBeBehind(lagMaxMs);
  }

  /** While a report is on its way, either of the two may be known. */
  async learns(known: Known, report: () => Promise<void>): Promise<void> {
    this.#changing = true;
    await report();
    [this.#known, this.#changing] = [known, false];
    this.#windowsMayBeBehind(lagMaxMs);
  }

  serverIsAway(): void {
    this.#isAway = true;
    this.#windowsMayBeBehind(awayMaxMs);
  }

  serverIsBack(): void {
    this.#isAway = false;
    this.#windowsMayBeBehind(returnMaxMs);
  }

  /** Waits until both windows have caught up, or for longer than they may be behind: then what they show is a violation. */
  async settles(): Promise<void> {
    const isCalm = (since: number | null) => since !== null && performance.now() - since >= calmMs;
    while (!this.#rightSince.every(isCalm) && performance.now() < this.#behindUntil + calmMs) await pass(50);
  }

  async end(): Promise<void> {
    this.#ended = true;
  }

  async watch(): Promise<void> {
    while (!this.#ended) {
      await Promise.all(this.#windows.map((page, index) => this.#check(page, index)));
      await pass(150);
    }
  }

  #windowsMayBeBehind(forMs: number): void {
    this.#behindUntil = performance.now() + forMs;
    this.#rightSince = this.#windows.map(() => null);
  }

  async #check(page: Page, index: number): Promise<void> {
    const [askedAt, behindUntil] = [performance.now(), this.#behindUntil];
    // biome-ignore lint/performance/useDomNodeTextContent: what is visible counts, with neighbouring elements kept apart
    const text = (await page.locator("section.pause").innerText()).replace(/\s+/g, " ");
    const saysAway = await page.getByText("No connection to the server.").isVisible();
    const shown = {
      confirmed: /Pause[^.]*: confirmed by the feeder/.test(text),
      feeding: /feeding as usual|last gave food/.test(text),
      notKept: /failed|not followed|not certain any more/.test(text),
      away: saysAway,
    };
    for (const [what, is] of Object.entries(shown)) if (is) this.seen[index]?.add(what);
    const isCurrent = !this.#changing && behindUntil === this.#behindUntil; // nothing has changed since it was read
    const wrong = this.#wrongWith(shown, isCurrent && (askedAt >= behindUntil || this.#rightSince[index] !== null));
    if (wrong !== null) this.violations.push(`window ${index + 1}: ${wrong}: ${text.slice(0, 300)}`);
    if (isCurrent && this.#isRight(shown)) this.#rightSince[index] ??= askedAt;
  }

  #isRight({ confirmed, feeding, away }: Shown): boolean {
    if (this.#isAway || away) return this.#isAway && away;
    return confirmed === (this.#known === "paused") && feeding === (this.#known === "feeding");
  }

  /** @param caughtUp whether this window must show what is known, as it has had its time or has shown it already */
  #wrongWith(shown: Shown, caughtUp: boolean): string | null {
    if (shown.confirmed && shown.feeding) return "confirmed together with feeding";
    if (!caughtUp) return null;
    if (this.#isAway) return shown.away ? null : "the server is away, and the page doesn't say so";
    if (shown.away) return "the server is there, and the page shows that it is not";
    if (shown.confirmed && this.#known !== "paused") return `confirmed, and known is: ${this.#known}`;
    if (shown.feeding && this.#known === "paused") return "feeding, and known is: paused";
    return null;
  }
}

// --- the feeder, the server and the windows ------------------------------------------------------------------------------

class Sender {
  readonly #key: string;
  readonly #origin: string;
  #start = 1;
  #begunAt = performance.now() - 60_000;
  #seq = 0;
  #orders: readonly { readonly id: string }[] = [];

  constructor(key: string, origin: string) {
    this.#key = key;
    this.#origin = origin;
  }

  async reports(readings: object, events: readonly object[] = []): Promise<void> {
    const uptimeMs = Math.floor(performance.now() - this.#begunAt);
    const recorded = events.map((event) => ({ seq: ++this.#seq, uptimeMs, ...event }));
    const response = await fetch(`${this.#origin}/api/v1/report`, {
      method: "POST",
      headers: { authorization: `Bearer ${this.#key}`, "content-type": "application/json" },
      body: JSON.stringify({ boot: `b-${this.#start}`, sentUptimeMs: uptimeMs, readings, events: recorded }),
    });
    if (!response.ok) throw new Error(`the report was refused: ${await response.text()}`);
    this.#orders = ((await response.json()) as { orders: readonly { id: string }[] }).orders;
  }

  async carriesOut(readings: object): Promise<void> {
    await this.reports(
      readings,
      this.#orders.map(({ id }) => ({ kind: "order", order: id, outcome: "done" })),
    );
  }

  /** Without its state of pause. */
  async startsAnew(): Promise<void> {
    this.#start += 1;
    this.#begunAt = performance.now() - 500;
    this.#seq = 0;
    await this.reports({});
  }
}

interface RestartableServer {
  readonly link: string;
  start(): Promise<void>;
  kill(): Promise<void>;
}

/** The built server at one port, which is ended with the test. */
async function startServer(test: TestContext, dataDir: string): Promise<RestartableServer> {
  const port = await freePort();
  const spawned = () => spawnBuiltServer(dataDir, { PORT: String(port) });
  let server: RunningServer = spawned();
  const kill = async () => {
    server.kill("SIGKILL");
    await server.exited;
  };
  test.onTestFinished(kill);
  const [, link] = await server.waitForOutput(/\n {2}(http\S+\/first-sign-in#[\w-]{43})\n/);
  return {
    link: link as string,
    async start() {
      server = spawned();
      await server.waitForOutput(/http/);
    },
    kill,
  };
}

async function opened(test: TestContext): Promise<World> {
  const { phone, scratch } = await open(test);
  const server = await startServer(test, join(scratch, "data"));
  const { hash, origin } = new URL(server.link);
  const post = async (path: string, data: object) => {
    const headers = { "x-pieward": "1" };
    const response = await phone.context.request.post(`${origin}/api/v1${path}`, { data, headers });
    if (!response.ok()) throw new Error(`${path}: ${await response.text()}`);
    return response.json();
  };
  const keeper = { name: "Ada", passphrase: "four black feathers in the snow", zone: "Europe/Stockholm" };
  await post("/first-sign-in", { token: hash.slice(1), ...keeper });
  const home = await (await phone.context.request.get(`${origin}/api/v1/home`)).json();
  const added = await post("/feeders", { name: "Rowan", yard: home.yards[0].id });
  const feeder = new Sender(added.key, origin);
  await feeder.reports({ paused: false });
  const windows = [phone.page, await phone.context.newPage()];
  for (const page of windows) {
    await page.goto(`${origin}/feeders/${added.feeder.id}`);
    await page.getByRole("button", { name: "Pause until resumed" }).waitFor();
  }
  await pass(3_000); // both listen by then
  return { feeder, windows, judge: new Judge(windows), server };
}

function freePort(): Promise<number> {
  return new Promise((resolve) => {
    const probe = createServer().listen(0, "127.0.0.1", () => {
      const { port } = probe.address() as { port: number };
      probe.close(() => resolve(port));
    });
  });
}

const pass = (ms: number) => new Promise<void>((resolve) => setTimeout(resolve, ms));
