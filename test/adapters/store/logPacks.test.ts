import Database from "better-sqlite3";
import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { FeederMemory } from "../../../server/adapters/store/feederMemory.ts";
import { createFeederRows } from "../../../server/adapters/store/feederRows.ts";
import { after, type Instant, minutes, type Span } from "../../../server/domain/instant.ts";
import { feederLog } from "../../../server/flows/feederLog.ts";
import { addFeeder } from "../../../server/flows/feeders.ts";
import { createIngest } from "../../../server/flows/ingest.ts";
import { applyKeeperAction } from "../../../server/flows/keeperActions.ts";
import { runPeriodicChecks } from "../../../server/flows/periodicCheck.ts";
import { rebuildState } from "../../../server/flows/pure/rebuildState.ts";
import { replayLog } from "../../replay/replayLog.ts";
import { openTestServer, type TestServer } from "../../support/testServer.ts";

/** What happens to a feeder; each waits some minutes first. */
type Happening = { readonly waitMinutes: number } & (
  | { readonly kind: "report"; readonly boot: number; readonly events: number; readonly lateMinutes: number }
  | { readonly kind: "repeat"; readonly back: number }
  | { readonly kind: "restart"; readonly boot: number }
  | { readonly kind: "cleaned" | "check" | "pack" }
);

const waitMinutes = fc.oneof(fc.integer({ min: 1, max: 90 }), fc.integer({ min: 100, max: 1_500 }));
const boot = fc.integer({ min: 0, max: 2 });
const report = fc.record({
  kind: fc.constant("report" as const),
  ...{ waitMinutes, boot, events: fc.integer({ min: 0, max: 4 }), lateMinutes: fc.integer({ min: 0, max: 3_000 }) },
});
const happening: fc.Arbitrary<Happening> = fc.oneof(
  { weight: 6, arbitrary: report },
  { weight: 2, arbitrary: fc.record({ kind: fc.constant("repeat" as const), waitMinutes, back: fc.nat(40) }) },
  { weight: 1, arbitrary: fc.record({ kind: fc.constant("restart" as const), waitMinutes, boot }) },
  {
    weight: 4,
    arbitrary: fc.record({ kind: fc.constantFrom("cleaned" as const, "check" as const, "pack" as const), waitMinutes }),
  },
);

interface Yard {
  readonly server: TestServer;
  readonly feeder: string;
  readonly no: number;
  readonly answers: unknown[];
}

/** A new feeder on this server with that history. @param packs whether its log is packed where the history says so */
async function play(server: TestServer, history: readonly Happening[], packs: boolean): Promise<Yard> {
  const feeder = await newFeeder(server);
  const ingest = createIngest(server.ports);
  const boots = [0, 1, 2].map(() => ({ startedAt: server.clock.now(), seq: 0 }));
  const answers: unknown[] = [];
  const sent: object[] = [];
  for (const one of history) {
    const now = server.clock.advance(minutes(one.waitMinutes) as Span);
    if (one.kind === "report") {
      const posted = nextReport(boots[one.boot] as Boot, one, now);
      sent.push(posted);
      answers.push(await ingest.take(feeder, posted));
    } else if (one.kind === "repeat") {
      if (sent.length > 0) answers.push(await ingest.take(feeder, sent[one.back % sent.length]));
    } else if (one.kind === "restart") boots[one.boot] = { startedAt: now, seq: 0 };
    else if (one.kind === "cleaned") await clean(server, feeder);
    else if (one.kind === "check") await runPeriodicChecks(server.ports);
    else if (packs) while (await server.store.packs.packNext(now));
  }
  const { no } = server.connections.feeders().head(feeder);
  return { server, feeder, no, answers };
}

async function newFeeder({ ports, yard }: TestServer): Promise<string> {
  const added = await addFeeder(ports, yard, { name: "Rowan" }, "Ada");
  return added?.feeder.id ?? expect.fail("the yard is stored");
}

interface Boot {
  readonly startedAt: Instant;
  seq: number;
}

function nextReport(of: Boot, { boot, events, lateMinutes }: Extract<Happening, { kind: "report" }>, now: Instant) {
  const sentUptimeMs = now - of.startedAt;
  const uptimeMs = Math.max(0, sentUptimeMs - minutes(lateMinutes));
  const kinds = ["visit", "press", "deposit", "portion"];
  return {
    boot: `b-${boot}`,
    sentUptimeMs,
    readings: { airCelsius: (now / 60_000) % 17, batteryVolts: 3.9 },
    events: Array.from({ length: events }, (_, n) => {
      of.seq += 1;
      return { seq: of.seq, uptimeMs: uptimeMs + n, kind: kinds[(of.seq + n) % 4], note: `"${of.seq}"` };
    }),
  };
}

const clean = (server: TestServer, feeder: string) =>
  applyKeeperAction(server.ports, feeder, "Ada", (_, at) => ({ kind: "cleaned", at, by: "Ada" }));

/** All that can be read of a log, with a state that no memory had. */
async function everything({ server, feeder, no, answers }: Yard) {
  const log = server.connections.log();
  const { revision, state } = await row(server, feeder);
  const database = new Database(server.databaseFile, { readonly: true });
  const rebuilt = createFeederRows(database, new FeederMemory(), rebuildState).one(feeder)?.state;
  database.close();
  expect(rebuilt).toEqual(state);
  const now = server.clock.now();
  const spans = [0, 1, 2, 3, 5, 8].map((ago) => [before(now, ago + 2), before(now, ago)] as const);
  const text: string[] = [];
  for await (const line of feederLog(server.store.records, await row(server, feeder)))
    text.push(line.replace(feeder, "rowan"));
  return {
    answers,
    state,
    text,
    lines: [log.lines(no, -1, revision, 1e6), log.lines(no, 7, 31, 1e6), log.lines(no, 3, revision, 5)],
    events: spans.map(([from, to]) => log.events(no, from, to)),
    readings: spans.map(([from, to]) => log.readings(no, from, to)),
    boots: ["b-0", "b-1", "b-2", "b", "b-0#2", "%"].map((label) => log.boots(no, label)),
    bodies: ["b-0", "b-1", "b-0#2", "b-1#2"].map((numbered) => [...log.bodies(no, numbered, [1, 2, 3, 7, 11, 400])]),
  };
}
const before = (now: Instant, days: number) => after(now, minutes(-1_440 * days) as Span);
const row = async (server: TestServer, feeder: string) =>
  (await server.store.yards.feeder(feeder)) ?? expect.fail("the feeder is stored");

const packsOn = (server: TestServer) =>
  server.connections.direct.prepare(`SELECT COUNT(*) FROM "LogPack"`).pluck().get() as number;

describe("a packed log", () => {
  it("answers every question as before, whatever happened and whenever it was packed", async () => {
    const [first, second] = [await openTestServer(), await openTestServer()];
    const property = fc.asyncProperty(fc.array(happening, { minLength: 30, maxLength: 70 }), async (history) => {
      const [plain, packed] = [await play(first, history, false), await play(second, history, true)];
      expect(await everything(packed)).toEqual(await everything(plain));
    });
    await fc.assert(property, { numRuns: 8 });
    expect(packsOn(first)).toBe(0);
    expect(packsOn(second), "the histories must have days to pack").toBeGreaterThan(40);
  });
});

export { clean, play, replayLog };
