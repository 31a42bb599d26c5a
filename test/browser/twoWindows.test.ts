import { createServer } from "node:net";
import { join } from "node:path";
import type { Page } from "playwright-core";
import { beforeEach, describe, expect, it } from "vitest";
import { type RunningServer, runBuiltServer } from "../support/builtServer.ts";
import { findChromium } from "../support/chromium.ts";
import type { BrowserPhone } from "./browserPhone.ts";
import { phoneForEachTest } from "./phoneForEachTest.ts";

/**
 * Two windows of one keeper on a feeder's page, while the feeder follows orders, reports wrongly, restarts and gives food, and the
 * server is killed and started again. Both are read all the time: neither shows more of the pause than was reported to the server.
 */

const { path: chromiumPath, unlessAbsent } = findChromium();

let scratch: string;
let phone: BrowserPhone;
let server: RunningServer;
let port: number;
let origin: string;

phoneForEachTest(chromiumPath, (opened) => {
  ({ phone, scratch } = opened);
});
beforeEach(async () => {
  port = await freePort();
  origin = `http://127.0.0.1:${port}`;
});

describe.skipIf(chromiumPath === null)(`two windows on one feeder${unlessAbsent}`, () => {
  it("never show more of a pause than is known, while the feeder reports wrongly and the server stops", async () => {
    const { feeder, windows } = await opened();
    const judge = new Judge(windows);
    const watching = judge.watch();
    for (const scenario of scenarios) {
      await scenario(feeder, windows, judge);
      await pass(4_000); // longer than a page is allowed to lag behind
    }
    await judge.end();
    await watching;
    expect(judge.violations.slice(0, 10)).toEqual([]);
    // Each scenario has shown its state in both windows.
    for (const seen of judge.seen) expect([...seen].sort()).toEqual(["away", "confirmed", "feeding", "notKept"]);
  }, 180_000);

  it("would be detected if one went on showing a pause as confirmed", async () => {
    const { feeder, windows } = await opened();
    const lying = windows[1] as Page;
    await lying.route(/\/api\/v1\/(home|feeders\/[^/]+)$/, async (route) => {
      const response = await route.fetch();
      const text = (await response.text()).replace(
        /"status":"(sent|requested|overdue|contradicted)"/g,
        '"status":"confirmed"',
      );
      await route.fulfill({ response: response, body: text });
    });
    const judge = new Judge(windows);
    const watching = judge.watch();
    await obeyed(feeder, windows, judge);
    await pass(4_000);
    await contradicted(feeder, windows, judge);
    await pass(5_000);
    await judge.end();
    await watching;
    expect(judge.violations.length).toBeGreaterThan(0);
    expect(judge.violations.every((violation) => violation.startsWith("window 2"))).toBe(true);
  }, 120_000);
});

// --- the scenarios -----------------------------------------------------------------------------------------------------

type Scenario = (feeder: Sender, windows: readonly Page[], judge: Judge) => Promise<void>;

/** A window requests an order, the feeder gets it with its next report, and carries it out. */
const obeyed: Scenario = async (feeder, windows, judge) => {
  await press(windows[0] as Page, "Pause until resumed");
  await judge.learns("feeding", () => feeder.reports({ paused: false }));
  await judge.learns("paused", () => feeder.carriesOut({ paused: true }));
};
const contradicted: Scenario = (feeder, _, judge) => judge.learns("feeding", () => feeder.reports({ paused: false }));
const startsAnew: Scenario = (feeder, _, judge) => judge.learns("unknown", () => feeder.startsAnew());
const feedsThoughPaused: Scenario = (feeder, _, judge) => judge.learns("feeding", () => feeder.reports({}, [portion]));
const remembers: Scenario = async (feeder, _, judge) => {
  await feeder.startsAnew();
  await judge.learns("paused", () => feeder.carriesOut({ paused: true }));
};
const resumed: Scenario = async (feeder, windows, judge) => {
  await press(windows[1] as Page, /Resume feeding|Cancel the pause/);
  await judge.learns("unknown", () => feeder.reports({}));
  await judge.learns("feeding", () => feeder.carriesOut({ paused: false }));
};
const serverDies: Scenario = async (_feeder, _windows, judge) => {
  judge.serverIsAway();
  server.kill("SIGKILL");
  await server.exited;
  await pass(8_000);
  await startServer();
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
/** After the server's return a page finds it again within 5 s. */
const returnMaxMs = 6_500;

class Judge {
  readonly violations: string[] = [];
  readonly seen: readonly Set<string>[];
  readonly #windows: readonly Page[];
  #known: Known = "feeding";
  #knownSince = performance.now();
  #changing = false;
  #awaySince: number | null = null;
  #backSince = Number.NEGATIVE_INFINITY;
  #ended = false;

  constructor(windows: readonly Page[]) {
    this.#windows = windows;
    this.seen = windows.map(() => new Set<string>());
  }

  /** While a report is on its way, either of the two may be known. */
  async learns(known: Known, report: () => Promise<void>): Promise<void> {
    this.#changing = true;
    await report();
    [this.#known, this.#knownSince, this.#changing] = [known, performance.now(), false];
  }

  serverIsAway(): void {
    this.#awaySince = performance.now();
  }

  serverIsBack(): void {
    this.#awaySince = null;
    this.#backSince = performance.now();
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

  async #check(page: Page, index: number): Promise<void> {
    const askedAt = performance.now();
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
    const wrong = this.#wrongWith(shown, askedAt);
    if (wrong !== null) this.violations.push(`window ${index + 1}: ${wrong}: ${text.slice(0, 300)}`);
  }

  #wrongWith(shown: Readonly<Record<"confirmed" | "feeding" | "away", boolean>>, now: number): string | null {
    if (shown.confirmed && shown.feeding) return "confirmed together with feeding";
    if (this.#awaySince !== null) {
      return now - this.#awaySince > 5_000 && !shown.away ? "the server is away, and the page doesn't say so" : null;
    }
    const settled = Math.max(this.#knownSince + lagMaxMs, this.#backSince + returnMaxMs);
    if (this.#changing || now < settled) return null;
    if (shown.away) return "the server is there, and the page shows that it is not";
    if (shown.confirmed && this.#known !== "paused") return `confirmed, and known is: ${this.#known}`;
    if (shown.feeding && this.#known === "paused") return "feeding, and known is: paused";
    return null;
  }
}

// --- the feeder, the server and the windows ------------------------------------------------------------------------------

class Sender {
  readonly #key: string;
  #start = 1;
  #begunAt = performance.now() - 60_000;
  #seq = 0;
  #orders: readonly { readonly id: string }[] = [];

  constructor(key: string) {
    this.#key = key;
  }

  async reports(readings: object, events: readonly object[] = []): Promise<void> {
    const uptimeMs = Math.floor(performance.now() - this.#begunAt);
    const recorded = events.map((event) => ({ seq: ++this.#seq, uptimeMs, ...event }));
    const response = await fetch(`${origin}/api/v1/report`, {
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

async function startServer(): Promise<void> {
  server = runBuiltServer(join(scratch, "data"), { PORT: String(port) });
  await server.waitForOutput(/http/);
}

async function opened(): Promise<{ readonly feeder: Sender; readonly windows: readonly Page[] }> {
  server = runBuiltServer(join(scratch, "data"), { PORT: String(port) });
  const [, link] = await server.waitForOutput(/\n {2}(http\S+\/first-sign-in#[\w-]{43})\n/);
  const token = new URL(link as string).hash.slice(1);
  const keeper = { name: "Ada", passphrase: "four black feathers in the snow", zone: "Europe/Stockholm" };
  await post("/first-sign-in", { token, ...keeper });
  const home = await (await phone.context.request.get(`${origin}/api/v1/home`)).json();
  const added = await post("/feeders", { name: "Rowan", yard: home.yards[0].id });
  const feeder = new Sender(added.key);
  await feeder.reports({ paused: false });
  const windows = [phone.page, await phone.context.newPage()];
  for (const page of windows) {
    await page.goto(`${origin}/feeders/${added.feeder.id}`);
    await page.getByRole("button", { name: "Pause until resumed" }).waitFor();
  }
  await pass(3_000); // both listen by then
  return { feeder, windows };
}

async function post(path: string, data: object) {
  const headers = { "x-pieward": "1" };
  const response = await phone.context.request.post(`${origin}/api/v1${path}`, { data, headers });
  if (!response.ok()) throw new Error(`${path}: ${await response.text()}`);
  return response.json();
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
