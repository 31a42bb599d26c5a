import { readFileSync } from "node:fs";
import { join } from "node:path";
import { describe, expect, it } from "vitest";
import { readLine } from "../../server/replay/logLine.ts";
import { runBuiltServer } from "../support/builtServer.ts";
import { findChromium } from "../support/chromium.ts";
import type { BrowserPhone } from "./browserPhone.ts";
import { phoneForEachTest } from "./phoneForEachTest.ts";

/** The download of a feeder's data: the built server and client, a real browser, a real file. */

const { path: chromiumPath, unlessAbsent } = findChromium();

let phone: BrowserPhone;
let scratch: string;
phoneForEachTest(chromiumPath, (opened) => {
  ({ phone, scratch } = opened);
});

describe.skipIf(chromiumPath === null)(`the downloaded data of a feeder${unlessAbsent}`, () => {
  it("is a file with every report and action, of which every line can be read", async () => {
    const [, link] = await runBuiltServer(join(scratch, "data")).waitForOutput(
      /\n {2}(http\S+\/first-sign-in#[\w-]{43})\n/,
    );
    const { origin, hash } = new URL(link as string);
    const { page } = phone;
    const send = async (method: "post" | "patch" | "get", path: string, data: unknown, key?: string) => {
      const headers = { "x-pieward": "1", ...(key === undefined ? {} : { authorization: `Bearer ${key}` }) };
      const response = await phone.context.request[method](`${origin}/api/v1${path}`, {
        headers,
        ...(method === "get" ? {} : { data }),
      });
      if (!response.ok()) throw new Error(`${path} was refused: ${await response.text()}`);
      return response.json();
    };

    await send("post", "/first-sign-in", {
      token: hash.slice(1),
      name: "Asta",
      passphrase: "four black feathers in the snow",
    });
    const { yards } = await send("get", "/home", null);
    const { feeder, key } = await send("post", "/feeders", { name: "Rowan", yard: yards[0].id });
    const press = { seq: 1, uptimeMs: 50_000, kind: "press" };
    await send(
      "post",
      "/report",
      { boot: "b-1", sentUptimeMs: 60_000, readings: { paused: false }, events: [press] },
      key,
    );
    await send("patch", `/feeders/${feeder.id}`, { portionGrams: 2 });
    await send("post", `/feeders/${feeder.id}/refills`, { id: "refill-0001", what: { kind: "added", grams: 400 } });
    await send("post", `/feeders/${feeder.id}/orders`, { id: "order-0001", kind: "pause" });

    await page.goto(`${origin}/feeders/${feeder.id}/settings`);
    const coming = page.waitForEvent("download");
    await page.getByRole("link", { name: "Download data" }).click();
    const download = await coming;
    expect(download.suggestedFilename()).toBe(`${feeder.id}.ndjson`);
    const file = join(scratch, "record.ndjson");
    await download.saveAs(file);

    const text = readFileSync(file, "utf8");
    expect(text.endsWith("\n")).toBe(true); // none is cut off
    const read = text.trimEnd().split("\n").map(readLine);
    expect(read.filter(({ kind }) => kind === "wrong")).toEqual([]);
    const lines = read.flatMap((one) => (one.kind === "read" ? [one.line] : []));
    expect(lines.every((line) => line.feeder === feeder.id)).toBe(true);
    const entries = lines.filter(({ kind }) => kind !== "check"); // a check may or may not have run by then
    expect(entries).toMatchObject([
      { kind: "settings", settings: { name: "Rowan" } },
      { kind: "report", report: { boot: "b-1", events: [{ seq: 1, kind: "press" }] } },
      { kind: "settings", settings: { portionGrams: 2 } },
      { kind: "keeper", act: { by: "Asta", refill: { grams: 400 } } },
      { kind: "keeper", act: { by: "Asta", pause: { id: "order-0001" } } },
    ]);
    expect(phone.complaints).toEqual([]);
  }, 120_000);
});
