import Database from "better-sqlite3";
import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { FeederMemory } from "../../../server/adapters/store/feederMemory.ts";
import { createFeederRows } from "../../../server/adapters/store/feederRows.ts";
import { openStore } from "../../../server/adapters/store/prismaStore.ts";
import { minutes, seconds } from "../../../server/domain/instant.ts";
import { runPeriodicChecks } from "../../../server/flows/periodicCheck.ts";
import { rebuildState } from "../../../server/flows/pure/rebuildState.ts";
import { FeederDamaged, type FeederRow, StoreBusy } from "../../../server/ports.ts";
import { requestAs } from "../../support/people.ts";
import { rollupsOfLog, storedRollups } from "../../support/rollups.ts";
import { runs } from "../../support/runs.ts";
import { openTestServer, type TestServer } from "../../support/testServer.ts";

/**
 * A feeder's state and its open roll-ups are in memory; on the disk are snapshots, the log and closed roll-ups. What is made from the log is
 * what is in memory, and what is stored.
 */

const event = fc.oneof(
  fc.record({
    kind: fc.constant("portion"),
    cause: fc.constantFrom("press", "timer", "deposit"),
    motorMs: fc.nat(2_000),
  }),
  fc.record({ kind: fc.constant("press") }),
  fc.record({ kind: fc.constant("deposit"), metal: fc.boolean(), signal: fc.double({ min: 0, max: 1, noNaN: true }) }),
  fc.record({ kind: fc.constant("visit") }),
  fc.record({ kind: fc.constant("refill"), grams: fc.integer({ min: 1, max: 900 }) }),
);
const readings = fc.record(
  {
    hopperGrams: fc.double({ min: 0, max: 1_500, noNaN: true }),
    airCelsius: fc.double({ min: -30, max: 20, noNaN: true }),
    humidityPercent: fc.integer({ min: 20, max: 100 }),
    supplyVolts: fc.double({ min: 4, max: 14, noNaN: true }),
    paused: fc.boolean(),
    spooled: fc.nat(40),
  },
  { requiredKeys: [] },
);
const reportStep = fc.record({
  kind: fc.constant("report" as const),
  wait: fc.integer({ min: 1, max: 300 }), // s
  start: fc.constantFrom("same", "same", "same", "new", "reused"),
  sending: fc.constantFrom("once", "once", "once", "twice", "late"),
  readings,
  events: fc.array(event, { maxLength: 6 }),
});
const step = fc.oneof(
  { weight: 12, arbitrary: reportStep },
  { weight: 2, arbitrary: fc.record({ kind: fc.constant("check" as const), wait: fc.integer({ min: 1, max: 90 }) }) }, // min
  {
    weight: 1,
    arbitrary: fc.record({
      kind: fc.constant("keeper" as const),
      what: fc.constantFrom("pause", "resume", "refill", "rename", "unreadable"),
    }),
  },
);
type Step = typeof step extends fc.Arbitrary<infer T> ? T : never;

/** A feeder with its own clock, which does what the steps say. */
class SteppedFeeder {
  private bootedAt: number;
  private boot = "b-1";
  private starts = 1;
  private seq = 0;
  private actions = 0;
  private readonly late: object[] = [];
  private readonly server: TestServer;
  private readonly id: string;
  private readonly key: string;

  constructor(server: TestServer, id: string, key: string) {
    [this.server, this.id, this.key] = [server, id, key];
    this.bootedAt = server.clock.now();
  }

  async take(step: Step): Promise<void> {
    if (step.kind === "check") {
      this.server.clock.advance(minutes(step.wait));
      await runPeriodicChecks(this.server.ports);
    } else if (step.kind === "keeper") await this.act(step.what);
    else await this.report(step);
  }

  private async report({ wait, start, sending, readings, events }: Extract<Step, { kind: "report" }>): Promise<void> {
    if (start !== "same") {
      [this.bootedAt, this.seq] = [this.server.clock.now(), 0];
      if (start === "new") this.boot = `b-${++this.starts}`;
    }
    this.server.clock.advance(seconds(wait));
    const sentUptimeMs = this.server.clock.now() - this.bootedAt;
    const numbered = events.map((content) => ({ seq: ++this.seq, uptimeMs: sentUptimeMs - 500, ...content }));
    const body = { boot: this.boot, sentUptimeMs, readings, events: numbered };
    if (sending === "late") this.late.push(body);
    else {
      await this.server.report(this.key, body);
      if (sending === "twice") await this.server.report(this.key, body);
    }
    const waiting = sending === "once" ? this.late.shift() : undefined;
    if (waiting !== undefined) await this.server.report(this.key, waiting);
  }

  private async act(what: string): Promise<void> {
    this.server.clock.advance(seconds(1));
    const url = `/api/v1/feeders/${this.id}`;
    const as = (method: "POST" | "PATCH", path: string, body: object) =>
      requestAs(this.server, method, path, this.server.keeper, body);
    const id = `action-${++this.actions}-of-the-test`;
    if (what === "refill") await as("POST", `${url}/refills`, { id, what: { kind: "added", grams: 200 } });
    else if (what === "rename") await as("PATCH", url, { name: `Rowan ${this.actions}` });
    else if (what === "unreadable") await this.server.report(this.key, '{"boot":');
    else await as("POST", `${url}/orders`, { id, kind: what, until: null });
  }
}

const numberOf = (server: TestServer, feeder: string) => server.connections.feeders().number(feeder);

/** As a process finds it that has just started. */
function rowAfterStart(server: TestServer, feeder: string): FeederRow | null {
  const database = new Database(server.databaseFile, { readonly: true });
  try {
    return createFeederRows(database, new FeederMemory(), rebuildState).one(feeder);
  } finally {
    database.close();
  }
}

function snapshotsOf(server: TestServer, feeder: string) {
  const { direct } = server.connections;
  const [newest, older] = direct
    .prepare<[number], { slot: number; step: number; state: Buffer }>(
      `SELECT "slot", "step", "state" FROM "Snapshot" WHERE "feederNo" = ? ORDER BY "step" DESC`,
    )
    .all(numberOf(server, feeder));
  const replaceNewest = (state: Buffer) =>
    direct
      .prepare(`UPDATE "Snapshot" SET "state" = ? WHERE "feederNo" = ? AND "slot" = ?`)
      .run(state, numberOf(server, feeder), newest?.slot);
  return { newest, older, replaceNewest };
}

const report = (seq: number) => ({
  boot: "b-1",
  sentUptimeMs: seq * 60_000,
  readings: { hopperGrams: 400 - seq },
  events: [{ seq, uptimeMs: seq * 60_000 - 1_000, kind: "portion", cause: "press", motorMs: 900 }],
});

async function withReports(count: number) {
  const server = await openTestServer();
  const { feeder, key } = await server.addFeeder({ name: "Rowan" });
  for (let seq = 1; seq <= count; seq += 1) {
    server.clock.advance(minutes(1));
    expect((await server.report(key, report(seq))).status).toBe(200);
  }
  return { server, feeder: feeder.id, key };
}

describe("a state that is made from a snapshot and the log", { timeout: 120_000 }, () => {
  it("is the live one, bit for bit, after any history, from the latest snapshot and from the one before it", async () => {
    const server = await openTestServer();
    const seen = { stepsAfterSnapshot: 0, olderSnapshots: 0, quarters: 0, openRollups: 0 };
    await fc.assert(
      fc.asyncProperty(fc.array(step, { minLength: 5, maxLength: 40 }), async (steps) => {
        const { feeder, key } = await server.addFeeder({ name: "Rowan", hopperCapacityGrams: 1_500 });
        const stepped = new SteppedFeeder(server, feeder.id, key);
        for (const one of steps) await stepped.take(one);
        const live = await server.store.yards.feeder(feeder.id);
        const { newest, older, replaceNewest } = snapshotsOf(server, feeder.id);
        if ((newest?.step ?? 0) < (live?.revision ?? 0)) seen.stepsAfterSnapshot += 1;
        expect(rowAfterStart(server, feeder.id)).toStrictEqual(live);
        const stored = storedRollups(server, feeder.id);
        expect(stored).toEqual(rollupsOfLog(server, feeder.id));
        seen.quarters += stored.filter((text) => text.startsWith("quarter")).length;
        if (live?.rollups.open.length) seen.openRollups += 1;
        if (newest === undefined || older === undefined) return;
        seen.olderSnapshots += 1;
        replaceNewest(newest.state.subarray(0, 30));
        expect(rowAfterStart(server, feeder.id)).toStrictEqual(live);
        replaceNewest(newest.state);
      }),
      { numRuns: runs(40) },
    );
    expect(seen.stepsAfterSnapshot).toBeGreaterThan(5); // the log is the only trace of these steps
    expect(seen.olderSnapshots).toBeGreaterThan(5);
    expect(seen.quarters).toBeGreaterThan(100);
    expect(seen.openRollups).toBeGreaterThan(20);
  });

  it("is never guessed: without one of the steps, or without a snapshot, the feeder counts as damaged", async () => {
    const { server, feeder } = await withReports(5);
    expect(rowAfterStart(server, feeder)?.revision).toBe(5);
    const remove = (from: string) => server.connections.direct.prepare(`DELETE FROM ${from}`).run();
    remove('"LogLine" WHERE "step" = 4');
    expect(() => rowAfterStart(server, feeder)).toThrow(FeederDamaged);
    expect(() => rowAfterStart(server, feeder)).toThrow("step 4 is missing");
    remove('"Snapshot"');
    expect(() => rowAfterStart(server, feeder)).toThrow("no snapshot");
  });

  it("is saved each 64 steps of a feeder that only reports, and with each step that changes more than that", async () => {
    const { server, feeder, key } = await withReports(63);
    expect(snapshotsOf(server, feeder).newest?.step).toBe(0);
    server.clock.advance(minutes(1));
    await server.report(key, report(64));
    expect(snapshotsOf(server, feeder).newest?.step).toBe(64);
    server.clock.advance(minutes(1));
    await requestAs(server, "PATCH", `/api/v1/feeders/${feeder}`, server.keeper, { name: "Larch" });
    expect(snapshotsOf(server, feeder)).toMatchObject({ newest: { step: 65 }, older: { step: 64 } });
    server.clock.advance(minutes(1));
    await server.report(key, report(65));
    await server.close();
    const database = new Database(server.databaseFile, { readonly: true });
    expect(database.prepare(`SELECT max("step") FROM "Snapshot"`).pluck().get()).toBe(66); // a clean end saves it too
    database.close();
  });
});

describe("the state in memory", () => {
  it("stays as it was where a commit fails, and the next report goes on from there", async () => {
    const { server, feeder, key } = await withReports(3);
    const before = await server.store.yards.feeder(feeder);
    // The last statement of each transaction fails: everything else of it was written by then.
    const { direct } = server.connections;
    direct.exec(
      `CREATE TEMP TRIGGER fail BEFORE UPDATE ON "FeederHead" WHEN NEW."feederNo" = 0
       BEGIN SELECT RAISE(ABORT, 'planted'); END`,
    );
    server.clock.advance(minutes(1));
    expect((await server.report(key, report(4))).status).toBe(500);
    expect(await server.store.yards.feeder(feeder)).toEqual(before);
    direct.exec("DROP TRIGGER fail");
    expect((await server.report(key, report(4))).body).toMatchObject({ storedThrough: 4, duplicates: 0 });
    expect(rowAfterStart(server, feeder)).toEqual(await server.store.yards.feeder(feeder));
  });

  it("counts no more where another process has made a step, and its own step from before is refused", async () => {
    const { server, feeder, key } = await withReports(3);
    const [old] = await server.store.transaction((tx) => tx.feeders([feeder]));
    if (old === undefined) throw new Error("expected Rowan");
    const other = await openStore(`file:${server.databaseFile}`, rebuildState);
    const at = server.clock.advance(minutes(1));
    const oneStep = (row: FeederRow) => ({
      ...row,
      state: { ...row.state, cleanedAt: at },
      nextCheckAt: at,
      line: { at, content: { kind: "check" as const } },
      closedQuarters: [],
      isPlain: false,
    });
    await other.transaction(async (tx) => {
      const [row] = await tx.feeders([feeder]);
      if (row !== undefined) await tx.saveSteps([oneStep(row)]);
    });
    await other.close();
    expect((await server.store.yards.feeder(feeder))?.state.cleanedAt).toBe(at);
    await expect(server.store.transaction((tx) => tx.saveSteps([oneStep(old)]))).rejects.toThrow(StoreBusy);
    server.clock.advance(minutes(1));
    expect((await server.report(key, report(4))).body).toMatchObject({ storedThrough: 4 });
    expect((await server.store.yards.feeder(feeder))?.state.cleanedAt).toBe(at);
  });

  it("is bounded: the feeder that was used least recently goes first", () => {
    const memory = new FeederMemory(2);
    const { state, rollups } = {} as FeederRow;
    const known = (revision: number) => ({ revision, state, rollups, snapshot: { slot: 0, step: 0 } });
    memory.set(1, known(1));
    memory.set(2, known(1));
    expect(memory.get(1, 1)).not.toBeNull();
    memory.set(3, known(1));
    expect([memory.get(1, 1), memory.get(2, 1), memory.get(3, 1)].map((one) => one !== null)).toEqual([
      true,
      false,
      true,
    ]);
    expect(memory.get(1, 2)).toBeNull(); // another revision
  });
});
