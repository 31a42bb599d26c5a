import type { Browser, BrowserContextOptions, Page } from "playwright-core";

/** The loading of a screen on a slow phone with a slow connection, measured in a real browser. */
export interface FirstScreenFigures {
  /** From the start of the navigation until the frame after the one in which the screen could be used. */
  readonly usableMs: number;
  /** Cumulative layout shift (https://web.dev/articles/cls) from the start until nothing changes any more. */
  readonly layoutShift: number;
  readonly shifted: readonly string[];
  /** Transferred for all requests before the screen was usable. */
  readonly octets: number;
  readonly requests: readonly string[];
  /** From the start of the navigation; null where the worker wasn't fetched within the measurement. */
  readonly workerAskedMs: number | null;
}

/** 400 kbit/s, 400 ms, a quarter of the processor. */
export const weakPhone = { octetsPerSecond: 50_000, latencyMs: 400, slowdown: 4 } as const;

/** In milliseconds, or until this holds. */
export type Rest = number | (() => boolean);
const restMaxMs = 8_000;
const usableMaxMs = 60_000;

/**
 * Opens an address with nothing cached.
 * @param usable a selector of what makes the screen useful
 * @param rest how long to go on measuring, for late shifts
 */
export async function measureFirstScreen(
  browser: Browser,
  url: string,
  usable: string,
  options: BrowserContextOptions = {},
  connection: {
    readonly octetsPerSecond: number;
    readonly latencyMs: number;
    readonly slowdown: number;
  } | null = weakPhone,
  rest: Rest = 2_500,
): Promise<FirstScreenFigures> {
  const context = await browser.newContext({ viewport: { width: 390, height: 844 }, ...options });
  try {
    const page = await context.newPage();
    await page.addInitScript("globalThis.__name = (named) => named"); // what a runner of TypeScript may put around functions
    await page.addInitScript(watchScreen, usable);
    const debuggerLink = await context.newCDPSession(page);
    const requests: { url: string; at: number; octets: number }[] = [];
    const byId = new Map<string, { url: string; at: number; octets: number }>();
    let startedAt = 0;
    debuggerLink.on("Network.requestWillBeSent", ({ requestId, request, timestamp }) => {
      if (startedAt === 0) startedAt = timestamp;
      const each = { url: new URL(request.url).pathname, at: (timestamp - startedAt) * 1_000, octets: 0 };
      byId.set(requestId, each);
      requests.push(each);
    });
    debuggerLink.on("Network.loadingFinished", ({ requestId, encodedDataLength }) => {
      const each = byId.get(requestId);
      if (each !== undefined) each.octets = encodedDataLength;
    });
    // The worker fetches in a process of its own, which this page's events do not include.
    let workerAskedMs: number | null = null;
    context.on("request", (request) => {
      if (new URL(request.url()).pathname === "/worker.js" && workerAskedMs === null)
        workerAskedMs = Date.now() - begunAt;
    });
    await debuggerLink.send("Network.enable");
    await debuggerLink.send("Network.setCacheDisabled", { cacheDisabled: false });
    if (connection !== null) {
      await debuggerLink.send("Network.emulateNetworkConditions", {
        offline: false,
        latency: connection.latencyMs,
        downloadThroughput: connection.octetsPerSecond,
        uploadThroughput: connection.octetsPerSecond,
      });
      await debuggerLink.send("Emulation.setCPUThrottlingRate", { rate: connection.slowdown });
    }
    const begunAt = Date.now();
    await page.goto(url, { waitUntil: "commit" });
    const usableMs = await page
      .waitForFunction(() => (globalThis as unknown as Watched).usableAt, undefined, { timeout: usableMaxMs })
      .then(async (found) => (await found.jsonValue()) as number)
      .catch(async (cause: unknown) => {
        throw new Error(`${usable} did not come; the page says: ${await page.textContent("main")}`, { cause });
      });
    const restEnd = performance.now() + (typeof rest === "number" ? rest : restMaxMs);
    while (performance.now() < restEnd && (typeof rest === "number" || !rest())) await page.waitForTimeout(100);
    const { layoutShift, shifted } = await readScreen(page);
    const before = requests.filter(({ at, octets }) => at < usableMs && octets > 0);
    return {
      usableMs,
      layoutShift,
      shifted,
      octets: before.reduce((sum, each) => sum + each.octets, 0),
      requests: before.map(({ url, at, octets }) => `${Math.round(at)} ms ${url} ${octets}`),
      workerAskedMs,
    };
  } finally {
    await context.close();
  }
}

interface Watched {
  usableAt?: number;
  layoutShift: number;
  shifted: string[];
}

const readScreen = (page: Page) =>
  page.evaluate(() => {
    const { layoutShift, shifted } = globalThis as unknown as Watched;
    return { layoutShift, shifted };
  });

/** Runs in the page, before anything of it. */
function watchScreen(usable: string): void {
  const watched = globalThis as unknown as Watched;
  watched.layoutShift = 0;
  watched.shifted = [];
  interface Shift extends PerformanceEntry {
    readonly value: number;
    readonly hadRecentInput: boolean;
    readonly sources: readonly { readonly node: Node | null }[];
  }
  new PerformanceObserver((list) => {
    for (const shift of list.getEntries() as Shift[]) {
      if (shift.hadRecentInput) continue;
      watched.layoutShift += shift.value;
      const nodes = shift.sources.map(({ node }) =>
        node instanceof Element ? `${node.tagName.toLowerCase()}.${node.className}` : String(node?.nodeName),
      );
      watched.shifted.push(`${Math.round(shift.startTime)} ms ${shift.value.toFixed(3)} ${nodes.join(", ")}`);
    }
  }).observe({ type: "layout-shift", buffered: true });
  const check = () => {
    const found = document.querySelector(usable);
    if (found === null || found.getClientRects().length === 0) requestAnimationFrame(check);
    else {
      // The frame in which it is painted has ended when the next one begins.
      requestAnimationFrame(() => {
        watched.usableAt = performance.now();
      });
    }
  };
  requestAnimationFrame(check);
}
