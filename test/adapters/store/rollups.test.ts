import { describe, expect, it } from "vitest";
import { quarterSaver, rollupReader } from "../../../server/adapters/store/rollupRows.ts";
import { quarterOf } from "../../../server/domain/history/rollupSpans.ts";
import { after, days, hours, type Instant, isoOf, minutes } from "../../../server/domain/instant.ts";
import { createIngest } from "../../../server/flows/ingest.ts";
import { runPeriodicChecks } from "../../../server/flows/periodicCheck.ts";
import { seededRandom } from "../../../server/practice/random.ts";
import { requestAs } from "../../support/people.ts";
import { rollupsOfLog, storedRollups } from "../../support/rollups.ts";
import { openTestServer, type TestServer } from "../../support/testServer.ts";

const kinds = ["press", "portion", "visit", "deposit"] as const;

/**
 * A feeder of which nothing arrives for some hours a day, and once for more than a day: its events come later, for quarters that were
 * stored long ago. A pause, a refill, a restart and checks are between.
 */
async function simulate(server: TestServer, dayCount: number): Promise<string> {
  const { feeder } = await server.addFeeder({ name: "Rowan", hopperCapacityGrams: 1_500, portionGrams: 2 });
  const ingest = createIngest(server.ports);
  const { uniform } = seededRandom(7);
  const url = `/api/v1/feeders/${feeder.id}`;
  let [bootedAt, boot, seq, unsent] = [server.clock.now() as number, 1, 0, [] as object[]];
  for (let step = 0; step < dayCount * 96; step += 1) {
    const now = server.clock.advance(minutes(15));
    const uptimeMs = now - bootedAt;
    if (uniform() < 0.4) {
      const kind = kinds[Math.floor(uniform() * 4)];
      const portion = kind === "portion" ? { cause: "deposit", motorMs: 900, chuteCount: 4 } : {};
      unsent.push({ seq: ++seq, uptimeMs: uptimeMs - Math.floor(uniform() * 900_000), kind, ...portion });
    }
    const [day, quarter] = [Math.floor(step / 96), step % 96];
    if (quarter < 20 || (day % 3 === 1 && quarter > 30) || (day % 3 === 2 && quarter < 60)) {
      await runPeriodicChecks(server.ports);
      continue;
    }
    const readings = { hopperGrams: 1_400 - step, airCelsius: Math.round(80 * uniform()) / 10, supplyVolts: 5 };
    const posted = { boot: `b-${boot}`, sentUptimeMs: uptimeMs, readings, events: unsent };
    expect((await ingest.take(feeder.id, posted)).kind).toBe("answered");
    unsent = [];
    if (quarter === 70) [bootedAt, boot, seq] = [now, boot + 1, 0];
    const act = (path: string, body: object) => requestAs(server, "POST", `${url}/${path}`, server.keeper, body);
    if (quarter === 80) await act("refills", { id: `refill-${step}`, what: { kind: "filled" } });
    if (quarter === 85) await act("orders", { id: `pause-${step}`, kind: "pause", until: null });
  }
  return feeder.id;
}

const rowCount = (rows: readonly string[], level: string) => rows.filter((row) => row.startsWith(level)).length;

/** Begin of the quarter, hour or day. */
const beginOf = (row: string): Instant => Number(row.split(" ")[1]) as Instant;

const keysOf = (rows: readonly string[]) => rows.map((row) => row.split(" ").slice(0, 2).join(" "));

async function simulated() {
  const server = await openTestServer();
  const feeder = await simulate(server, 7);
  return { server, feeder, whole: storedRollups(server, feeder) };
}

async function pack(server: TestServer) {
  server.clock.advance(days(3));
  await runPeriodicChecks(server.ports);
  while (await server.store.packs.packNext(server.clock.now()));
}

describe("stored roll-ups", { timeout: 120_000 }, () => {
  it("are what the whole log gives, with its late events", async () => {
    const { server, feeder, whole } = await simulated();
    expect(rowCount(whole, "quarter")).toBeGreaterThan(300);
    expect(rowCount(whole, "hour")).toBeGreaterThan(100);
    expect(rowCount(whole, "day")).toBeGreaterThan(6);
    expect(whole).toEqual(rollupsOfLog(server, feeder));
  });

  it("have the hours and days of another zone once the yard is moved, and the same as before once it is back", async () => {
    const { server, feeder, whole } = await simulated();
    const move = (zone: string) => requestAs(server, "PATCH", `/api/v1/yards/${server.yard}`, server.keeper, { zone });
    expect((await move("Asia/Kathmandu")).statusCode).toBe(200);
    const moved = storedRollups(server, feeder);
    expect(moved).toEqual(rollupsOfLog(server, feeder));
    expect(keysOf(moved).filter((key) => key.startsWith("day"))).not.toEqual(
      keysOf(whole).filter((key) => key.startsWith("day")),
    );
    expect((await move("Europe/Stockholm")).statusCode).toBe(200);
    expect(keysOf(storedRollups(server, feeder))).toEqual(expect.arrayContaining(keysOf(whole)));
    expect(storedRollups(server, feeder)).toEqual(rollupsOfLog(server, feeder));
  });

  it("stay as they are where the commit fails that closes a quarter, and so do the open ones", async () => {
    const { server, feeder, whole } = await simulated();
    const { direct } = server.connections;
    const before = await server.store.yards.feeder(feeder);
    expect(before?.rollups.open.length).toBeGreaterThan(0);
    const later = server.clock.advance(hours(1));
    direct.exec(
      `CREATE TEMP TRIGGER fail BEFORE UPDATE ON "FeederHead" WHEN NEW."feederNo" = 0
       BEGIN SELECT RAISE(ABORT, 'planted'); END`,
    );
    const posted = { boot: "b-99", sentUptimeMs: 1_000, readings: { airCelsius: 1 }, events: [] };
    await expect(createIngest(server.ports).take(feeder, posted)).rejects.toThrow("planted");
    expect(await server.store.yards.feeder(feeder)).toEqual(before);
    expect(storedRollups(server, feeder)).toEqual(whole);
    direct.exec("DROP TRIGGER fail");
    expect((await createIngest(server.ports).take(feeder, posted)).kind).toBe("answered");
    expect(storedRollups(server, feeder).length).toBeGreaterThan(whole.length);
    expect(storedRollups(server, feeder)).toEqual(rollupsOfLog(server, feeder));
    expect((await server.store.yards.feeder(feeder))?.rollups.open.every(({ from }) => from > later - 900_000)).toBe(
      true,
    );
  });

  it("stop no report where one is damaged, which stays as it is until they are made again", async () => {
    const { server, feeder } = await simulated();
    const { direct } = server.connections;
    const day = `"span" = 2 AND "from" = (SELECT MAX("from") FROM "Rollup" WHERE "span" = 2)`;
    direct.exec(`UPDATE "Rollup" SET "rollup" = x'ffff' WHERE ${day}`);
    const posted = { boot: "b-99", sentUptimeMs: 1_000, readings: { airCelsius: 1 }, events: [] };
    server.clock.advance(minutes(25));
    expect((await createIngest(server.ports).take(feeder, posted)).kind).toBe("answered");
    expect(direct.prepare(`SELECT hex("rollup") FROM "Rollup" WHERE ${day}`).pluck().get()).toBe("FFFF");
    expect(storedRollups(server, feeder)).not.toEqual(rollupsOfLog(server, feeder));
    expect(await server.store.rollups.rebuild(feeder)).toMatchObject({ changed: 1 });
    expect(storedRollups(server, feeder)).toEqual(rollupsOfLog(server, feeder));
  });

  it("count as damaged where any one bit of one is changed, also in a change of zone", async () => {
    const { server, feeder } = await simulated();
    const { direct } = server.connections;
    const quarter = `"span" = 0 AND "from" = (SELECT MIN("from") FROM "Rollup" WHERE "span" = 0)`;
    const octets = direct.prepare<[], Buffer>(`SELECT "rollup" FROM "Rollup" WHERE ${quarter}`).pluck().get() as Buffer;
    const read = rollupReader(direct);
    const no = direct.prepare<[], number>(`SELECT MIN("feederNo") FROM "Rollup"`).pluck().get() as number;
    const damaged = () => read.read(no, { level: "quarter", from: 0 as Instant, to: 8e15 as Instant }).damaged;
    expect(damaged()).toBe(0);
    const write = direct.prepare(`UPDATE "Rollup" SET "rollup" = ? WHERE ${quarter}`);
    for (let bit = 0; bit < 8 * octets.length; bit += 1) {
      const changed = Buffer.from(octets);
      changed[bit >> 3] = (changed[bit >> 3] as number) ^ (1 << (bit & 7));
      write.run(changed);
      expect(damaged(), `bit ${bit}`).toBe(1);
    }
    const zones = { before: "Europe/Stockholm", now: "Europe/Lisbon" };
    expect(() => quarterSaver(direct)(no, [], zones)).not.toThrow();
    write.run(octets);
    expect(damaged()).toBe(0);
    expect(await server.store.rollups.rebuild(feeder)).toMatchObject({ unreadable: [] });
  });

  it("are made again to the same bytes, whatever was damaged, and no others", async () => {
    const { server, feeder, whole } = await simulated();
    const larch = await server.addFeeder({ name: "Larch" });
    expect(await server.store.rollups.rebuild(feeder)).toMatchObject({ changed: 0, from: null, rows: whole.length });
    const { direct } = server.connections;
    direct.exec(`UPDATE "Rollup" SET "rollup" = x'00' WHERE "from" % 7 = 0`);
    direct.exec(`DELETE FROM "Rollup" WHERE "from" % 11 = 0`);
    direct.exec(
      `INSERT INTO "Rollup" SELECT "feederNo", "span", "from" + 1, "rollup" FROM "Rollup" WHERE "from" % 13 = 0`,
    );
    const damaged = new Set(storedRollups(server, feeder));
    const wrong = whole.filter((row) => !damaged.has(row)).length;
    const tooMany = [...damaged].filter((row) => !keysOf(whole).includes(keysOf([row])[0] as string)).length;
    expect(Math.min(wrong, tooMany)).toBeGreaterThan(10);
    expect(await server.store.rollups.rebuild(larch.feeder.id)).toMatchObject({ changed: 0, rows: 0 });
    expect(await server.store.rollups.rebuild(feeder)).toMatchObject({ changed: wrong + tooMany, unreadable: [] });
    expect(storedRollups(server, feeder)).toEqual(whole);
  });

  it("stay as they are where readings are gone, and are made again to the same bytes after that", async () => {
    const { server, feeder } = await simulated();
    await pack(server);
    const whole = storedRollups(server, feeder);
    const until = (beginOf(whole.findLast((row) => row.startsWith("quarter")) as string) - days(4)) as Instant;
    while (await server.store.packs.thinNext(until));
    const { direct } = server.connections;
    const count = (sql: string) => direct.prepare(sql).pluck().get() as number;
    expect(count(`SELECT COUNT(*) FROM "LogPack" WHERE "thinned"`)).toBeGreaterThan(2);
    expect(count(`SELECT COUNT(*) FROM "LogPack" WHERE NOT "thinned"`)).toBeGreaterThan(2);
    const { from, changed } = await server.store.rollups.rebuild(feeder);
    expect(changed).toBe(0);
    expect(storedRollups(server, feeder)).toEqual(whole);
    const lastAt = count(`SELECT MAX("lastAt") FROM "LogPack" WHERE "thinned"`) as Instant;
    expect(from).toBe(quarterOf(after(lastAt, minutes(-5))).from); // the first one that was not closed by then

    const firstDay = whole.find((row) => row.startsWith("quarter")) as string;
    direct.prepare(`UPDATE "Rollup" SET "rollup" = x'00' WHERE "from" = ?`).run(beginOf(firstDay));
    direct.prepare(`DELETE FROM "Rollup" WHERE "from" > ?`).run(from);
    const again = await server.store.rollups.rebuild(feeder);
    expect(again.changed).toBeGreaterThan(100);
    expect(storedRollups(server, feeder).filter((row) => !whole.includes(row))).toEqual(
      [`quarter ${beginOf(firstDay)} 00`].filter(() => beginOf(firstDay) < (from ?? 0)),
    );
  });

  it("stay as they are where a day of the log can't be read, and that day is named", async () => {
    const { server, feeder } = await simulated();
    await pack(server);
    const before = storedRollups(server, feeder);
    const { direct } = server.connections;
    const day = direct
      .prepare<[], { firstStep: number; firstAt: Instant; lastAt: Instant }>(
        `SELECT "firstStep", "firstAt", "lastAt" FROM "LogPack" WHERE NOT "thinned" ORDER BY "firstStep" LIMIT 1 OFFSET 1`,
      )
      .get();
    if (day === undefined) throw new Error("expected a pack");
    direct.prepare(`UPDATE "LogPack" SET "lines" = zeroblob(9) WHERE "firstStep" = ?`).run(day.firstStep);
    const { unreadable } = await server.store.rollups.rebuild(feeder);
    expect(unreadable.map(({ firstAt }) => isoOf(firstAt))).toEqual([isoOf(day.firstAt)]);
    const ofDay = (rows: readonly string[]) =>
      rows.filter((row) => row.startsWith("quarter") && beginOf(row) >= day.firstAt && beginOf(row) <= day.lastAt);
    expect(ofDay(before).length).toBeGreaterThan(20);
    expect(ofDay(storedRollups(server, feeder))).toEqual(ofDay(before));
  });
});
