import { join } from "node:path";
import { describe, expect, it, onTestFinished } from "vitest";
import { createSettingsComparer, type ThreadLimits } from "../../server/adapters/comparisonThread.ts";
import { before, days, seconds } from "../../server/domain/instant.ts";
import type { ComparisonRequest } from "../../server/ports.ts";
import { liveMinutes } from "../support/feederDays.ts";
import { inProcessComparer } from "../support/inProcessComparer.ts";
import { openTestServer } from "../support/testServer.ts";

/** The real thread, from its source. */
const program = join(import.meta.dirname, "../../server/comparisonThread.ts");
const loader = `import { register } from ${JSON.stringify(import.meta.resolve("tsx/esm/api"))}; register();`;
const withTypes = ["--import", `data:text/javascript,${encodeURIComponent(loader)}`];

async function open(limits: ThreadLimits = { time: seconds(50), heapMebibytes: 200 }) {
  const server = await openTestServer();
  const { feeder } = await server.addFeeder({ reportEverySeconds: 600 });
  await liveMinutes(server, feeder.id, { count: 240 });
  await liveMinutes(server, feeder.id, { count: 120, silent: true });
  await liveMinutes(server, feeder.id, { count: 30 });
  const row = await server.store.yards.feeder(feeder.id);
  if (row === null) throw new Error("expected the feeder to be there");
  const { id, addedAt, revision } = row;
  const to = server.clock.now();
  const request: ComparisonRequest = {
    feeder: { id, addedAt, revision },
    settings: {},
    overrides: [{ reportEverySeconds: 600 }, { reportEverySeconds: 3_600 }],
    ...{ from: before(to, days(30)), to },
  };
  const comparer = createSettingsComparer(program, server.databaseFile, limits, withTypes);
  onTestFinished(() => comparer.close());
  return { server, request, comparer };
}
const never = new AbortController().signal;

describe("the thread that compares settings", () => {
  it("finds the same as in this thread", async () => {
    const { server, request, comparer } = await open();
    const found = await comparer.compare(request, never);
    expect(found).toEqual(await inProcessComparer(server.databaseFile).compare(request, never));
    expect(found).toMatchObject({ compared: { comparison: { totals: [{ urgent: 1 }, { urgent: 0 }] } } });
  });

  it("does one at a time, and the next after a cancelled one", async () => {
    const { request, comparer } = await open();
    const leaving = new AbortController();
    const first = comparer.compare(request, leaving.signal);
    expect(await comparer.compare(request, never)).toEqual({ kind: "busy" });
    leaving.abort();
    expect(await first).toEqual({ kind: "cancelled" });
    expect(await comparer.compare(request, never)).toMatchObject({ kind: "compared" });
    expect(await comparer.compare(request, AbortSignal.abort())).toEqual({ kind: "cancelled" });
  });

  it("is ended by the end of the server", async () => {
    const { request, comparer } = await open();
    const compared = comparer.compare(request, never);
    comparer.close();
    expect(await compared).toEqual({ kind: "cancelled" });
  });

  it("ends at its limits of time and memory", async () => {
    const slow = await open({ time: seconds(0.01), heapMebibytes: 200 });
    expect(await slow.comparer.compare(slow.request, never)).toEqual({ kind: "tookTooLong" });
    const small = await open({ time: seconds(50), heapMebibytes: 4 });
    expect(await small.comparer.compare(small.request, never)).toEqual({ kind: "tookTooMuchMemory" });
  });

  it("fails with the reason where the log can't be read", async () => {
    const { request, server } = await open();
    const comparer = createSettingsComparer(program, `${server.databaseFile}.gone`, undefined, withTypes);
    await expect(comparer.compare(request, never)).rejects.toThrow(/unable to open database file/);
  });
});
