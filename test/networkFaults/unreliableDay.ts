import assert from "node:assert/strict";
import type { Answer } from "../../server/contract/report.ts";
import { hopperLevel } from "../../server/domain/hopper/level.ts";
import { after, type Instant, minutes, seconds } from "../../server/domain/instant.ts";
import { runPeriodicChecks } from "../../server/flows/periodicCheck.ts";
import { initialOrderState } from "../../server/practice/orderState.ts";
import { seededRandom } from "../../server/practice/random.ts";
import { Scene } from "../../server/practice/scene.ts";
import { foodGrams } from "../../server/practice/world.ts";
import { rowan } from "../../server/practice/yard.ts";
import type { TestServer } from "../support/testServer.ts";

/**
 * One winter day of a feeder whose connection and power are bad, against the whole server.
 *
 * Goal: nothing that the feeder recorded is lost or stored twice, its times are right, the feeder ends paused or feeding as the
 * keeper's last order wants, and the server's estimate of the hopper is near the truth.
 * Method: the practice yard as the truth, in virtual time, a report a minute over HTTP; requests and answers get lost, are sent
 * twice at once, come late, and the feeder loses its power and its uptime. All random numbers come from one seed:
 * `simulateUnreliableDay(server, seed)` gives the same day again.
 */
export interface UnreliableDay {
  readonly written: number; // events that the feeder numbered
  readonly lostRequests: number;
  readonly lostAnswers: number;
  readonly doubled: number;
  readonly reboots: number;
  readonly orders: number;
}

interface ReportedEvent {
  readonly boot: string;
  readonly recordedAt: Instant;
  readonly body: string;
}

/** A bug planted on purpose, so that the checks can show that they find it. */
export type PlantedReportBug = "none" | "feederForgetsTooEarly" | "serverForgetsRepeats" | "clockUnbuilt";

export async function simulateUnreliableDay(
  server: TestServer,
  seed: number,
  plant: PlantedReportBug = "none",
): Promise<UnreliableDay> {
  const random = seededRandom(seed);
  const { feeder, key } = await server.addFeeder({
    ...rowan,
    reportEverySeconds: 60,
    warnAheadDays: 1,
  });
  const begin = server.clock.now();
  const boots = new Map<string, Instant>([["b-1", begin]]);
  let boot = "b-1";
  const scene = new Scene({
    settings: rowan,
    seed,
    random: seededRandom(seed + 1),
    hopperGrams: 0.8 * rowan.hopperCapacityGrams,
    memory: { spool: [], orderState: initialOrderState },
    boot,
    visitPattern: "lively",
    startsAt: begin,
    narrate: () => undefined,
  });
  if (plant === "serverForgetsRepeats") forgetRepeats(server);

  const reported = new Map<string, ReportedEvent>();
  const reportedBoots = new Set<string>(); // those of which a report got through while they ran
  const day = { written: 0, lostRequests: 0, lostAnswers: 0, doubled: 0, reboots: 0, orders: 0 };
  let lastOrder: string | null = null;

  const send = async (isConnectionGood: boolean): Promise<void> => {
    const now = server.clock.now();
    const report = scene.report(now);
    for (const event of report.events ?? []) {
      const recordedAt = after(boots.get(report.boot) as Instant, event.uptimeMs as never);
      reported.set(`${report.boot} ${event.seq}`, { boot: report.boot, recordedAt, body: JSON.stringify(event) });
    }
    if (!isConnectionGood && random.isTrueWith(0.15)) {
      day.lostRequests += 1;
      const last = report.events?.at(-1)?.seq;
      if (plant === "feederForgetsTooEarly" && last !== undefined)
        scene.handleAnswer(report.boot, falseAnswer(last, now), now);
      return;
    }
    const sent = plant === "clockUnbuilt" && report.sentUptimeMs !== null ? { ...report, sentUptimeMs: 9e9 } : report;
    const twice = !isConnectionGood && random.isTrueWith(0.1);
    if (twice) day.doubled += 1;
    const [first] = await Promise.all([server.report(key, sent), twice ? server.report(key, sent) : null]);
    if (report.sentUptimeMs !== null) reportedBoots.add(report.boot);
    assert.equal(first.status, 200, `seed ${seed}: the server answered ${JSON.stringify(first.body)}`);
    if (!isConnectionGood && random.isTrueWith(0.15)) {
      day.lostAnswers += 1;
      return;
    }
    scene.handleAnswer(report.boot, first.body as Answer, now);
  };

  for (let minute = 0; minute < 8 * 60; minute += 1) {
    const now = server.clock.advance(minutes(1));
    scene.advance(now);
    if (random.isTrueWith(0.01)) {
      boot = `b-${minute + 2}`;
      scene.reboot(boot, now);
      boots.set(boot, now);
      day.reboots += 1;
      server.clock.advance(seconds(20)); // it takes its time to come up
      scene.advance(server.clock.now());
    }
    if (random.isTrueWith(0.01)) {
      lastOrder = `order-${minute}-of-${seed}`;
      const payload = { id: lastOrder, kind: random.isTrueWith(0.5) ? "pause" : "resume" };
      const url = `/api/v1/feeders/${feeder.id}/orders`;
      await server.app.inject({ method: "POST", url, headers: server.keeper, payload });
      day.orders += 1;
    }
    await send(false);
    await runPeriodicChecks(server.ports);
  }
  for (let quiet = 0; quiet < 20 && (scene.feeder.spooled > 0 || quiet < 3); quiet += 1) {
    server.clock.advance(seconds(5));
    await send(true);
  }
  assert.equal(scene.feeder.spooled, 0, `seed ${seed}: a good connection must empty the spool`);

  day.written = reported.size;
  await checkRecord(server, feeder.id, reported, reportedBoots, begin, seed);
  await checkPause(server, feeder.id, scene, lastOrder, seed);
  await checkHopper(server, feeder.id, scene, seed);
  return day;
}

async function checkRecord(
  server: TestServer,
  feeder: string,
  reported: ReadonlyMap<string, ReportedEvent>,
  reportedBoots: ReadonlySet<string>,
  begin: Instant,
  seed: number,
): Promise<void> {
  const stored = await server.store.records.events(feeder, begin, after(server.clock.now(), minutes(1)), 100_000);
  const byIdentity = new Map(stored.map((event) => [`${event.boot} ${event.seq}`, event]));
  assert.equal(byIdentity.size, stored.length, `seed ${seed}: an event is stored twice`);
  for (const [identity, { boot, recordedAt, body }] of reported) {
    const event = byIdentity.get(identity);
    assert.ok(event, `seed ${seed}: event ${identity} is lost`);
    assert.equal(event.body, body, `seed ${seed}: event ${identity} was changed`);
    const late = event.recordedAt - recordedAt;
    // A boot that ended before a single report got through left no clue when it was: its events count as of their arrival.
    const lateMax = reportedBoots.has(boot) ? 1_000 : server.clock.now() - recordedAt;
    assert.ok(late >= -1_000 && late <= lateMax, `seed ${seed}: event ${identity} is placed ${late} ms off`);
  }
  assert.equal(stored.length, reported.size, `seed ${seed}: something is stored that was never reported`);
}

async function checkPause(
  server: TestServer,
  feeder: string,
  scene: Scene,
  lastOrder: string | null,
  seed: number,
): Promise<void> {
  const { pause } = await server.runPeriodicCheck(feeder);
  assert.equal(pause.order?.id ?? null, lastOrder, `seed ${seed}: the newest order is not the keeper's last`);
  if (pause.order === null) return;
  assert.equal(pause.order.status, "confirmed", `seed ${seed}: order ${lastOrder} is ${pause.order.status}`);
  assert.equal(
    scene.feeder.isPaused,
    pause.order.kind === "pause",
    `seed ${seed}: the feeder doesn't do what it confirmed`,
  );
  assert.equal(pause.statement?.paused, scene.feeder.isPaused, `seed ${seed}: the keeper is shown something else`);
}

async function checkHopper(server: TestServer, feeder: string, scene: Scene, seed: number): Promise<void> {
  const row = await server.store.yards.feeder(feeder);
  const level = row && hopperLevel(row.state.hopper, row.state.settings);
  assert.ok(level, `seed ${seed}: the hopper is unknown`);
  const truth = foodGrams(scene.world);
  const allowed = 0.05 * rowan.hopperCapacityGrams;
  assert.ok(
    Math.abs(level.grams - truth) <= allowed,
    `seed ${seed}: ${Math.round(level.grams)} g estimated, ${Math.round(truth)} g there`,
  );
}

/** An answer that the server never gave. */
const falseAnswer = (storedThrough: number, at: Instant): Answer => ({
  storedThrough,
  duplicates: 0,
  refused: [],
  unknown: [],
  serverTime: new Date(at).toISOString(),
  nextReportSeconds: 60,
  orders: [],
});

/** A server that forgets what it has: it stores a repeat under another boot id. */
function forgetRepeats(server: TestServer): void {
  const { transaction } = server.store;
  Object.assign(server.store, {
    transaction: <T>(work: Parameters<typeof transaction<T>>[0]) =>
      transaction<T>((tx) =>
        work({
          ...tx,
          storedEventBodies: async () => new Map(),
        }),
      ),
  });
}
