import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { advanceAlarms, respondToAlarm } from "../../server/domain/alarms/advanceAlarms.ts";
import { isRaise } from "../../server/domain/alarms/alarmEvents.ts";
import type { AlarmChange } from "../../server/domain/alarms/alarmStates.ts";
import { alarmTopic } from "../../server/domain/alarms/alarmTopic.ts";
import type { Effect } from "../../server/domain/effects.ts";
import { type Fault, type FaultKind, ruleOf } from "../../server/domain/faults.ts";
import type { FeederState } from "../../server/domain/feeder.ts";
import { after, type Instant, minutes, seconds } from "../../server/domain/instant.ts";
import { markUnnotified, unnotifiedText } from "../../server/flows/pure/unnotified.ts";
import { saveUpdates } from "../../server/flows/saveUpdates.ts";
import { addPhone, advanceTime, requestAs } from "../support/people.ts";
import { runs } from "../support/runs.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

/** Urgent and latched; may wait for the morning; held for two minutes; one cause for all feeders of a yard. */
const kinds = ["trayJammed", "foodLow", "feederSilent", "iceLock"] as const satisfies readonly FaultKind[];

type Step =
  | { readonly kind: "there" | "gone"; readonly fault: FaultKind }
  | { readonly kind: "pass"; readonly seconds: number }
  | { readonly kind: "shelve" | "acknowledge" | "reset"; readonly fault: FaultKind }
  | { readonly kind: "pause" };

const step: fc.Arbitrary<Step> = fc.oneof(
  {
    weight: 4,
    arbitrary: fc.record({
      kind: fc.constantFrom("there" as const, "gone" as const),
      fault: fc.constantFrom(...kinds),
    }),
  },
  {
    weight: 4,
    arbitrary: fc.record({ kind: fc.constant("pass" as const), seconds: fc.constantFrom(1, 60, 1_800, 14_400) }),
  },
  {
    weight: 2,
    arbitrary: fc.record({
      kind: fc.constantFrom("shelve" as const, "acknowledge" as const, "reset" as const),
      fault: fc.constantFrom(...kinds),
    }),
  },
  { weight: 1, arbitrary: fc.constant({ kind: "pause" as const }) },
);

/** Low for four hours by day, in its keeper's quiet hours: over before anybody may be notified. */
const brief: readonly Step[] = [
  { kind: "there", fault: "foodLow" },
  { kind: "pass", seconds: 14_400 },
  { kind: "gone", fault: "foodLow" },
  { kind: "pass", seconds: 14_400 },
];
const history = fc
  .array(fc.oneof({ weight: 6, arbitrary: step.map((one) => [one]) }, { weight: 1, arbitrary: fc.constant(brief) }), {
    minLength: 8,
    maxLength: 24,
  })
  .map((parts) => parts.flat());

/** The alarms of one feeder, stored as by the server: one commit for each check, with all its effects. */
async function live(server: TestServer, feeder: string, steps: readonly Step[]): Promise<void> {
  const there = new Map<FaultKind, Fault>();
  let paused = false;
  for (const each of steps) {
    if (each.kind === "pass") server.clock.advance(seconds(each.seconds));
    if (each.kind === "there") there.set(each.fault, faultOf(each.fault));
    if (each.kind === "gone") there.delete(each.fault);
    if (each.kind === "pause") paused = !paused;
    const now = server.clock.now();
    await server.store.transaction(async (tx) => {
      const [row] = await tx.feeders([feeder]);
      if (!row) throw new Error("expected the feeder");
      const effects: Effect[] = [];
      let state: FeederState = row.state;
      if (each.kind === "shelve" || each.kind === "acknowledge" || each.kind === "reset") {
        state = { ...state, alarms: respondToAlarm(state, answerOf(each.kind, each.fault, now), now, effects) };
      }
      const situation = { faults: there, alarms: state.alarms, paused, placement: "inGarden" as const, now };
      state = { ...state, alarms: advanceAlarms(state, situation, effects) };
      const line = { at: now, content: { kind: "check" } } as const;
      await saveUpdates(server.ports, tx, [{ feeder: { ...row, state, effects, closedQuarters: [] }, line }], now);
    });
  }
}

const faultOf = (kind: FaultKind): Fault => ({ kind, reason: "Seen by hand." }) as Fault;

function answerOf(kind: "shelve" | "acknowledge" | "reset", fault: FaultKind, now: Instant) {
  switch (kind) {
    case "shelve":
      return { kind: "alarmShelved", fault, until: after(now, minutes(30)), by: "Ada" } as const;
    case "acknowledge":
      return { kind: "alarmAcknowledged", fault, raisedAt: null, by: "Ada" } as never;
    case "reset":
      return { kind: "alarmReset", fault, by: "Ada" } as never;
  }
}

/** Raises that should notify, of which there is no trace: no item since, no waiting escalation, and no text in the change that ended it. */
async function withoutTrace(server: TestServer, feeder: string): Promise<AlarmChange[]> {
  const changes = await server.store.records.alarmChanges(feeder, 0 as Instant, after(server.clock.now(), minutes(1)));
  const items = server.connections.direct
    .prepare<[], { topic: string; at: number }>(
      `SELECT "topic", CAST(round((julianday("writtenAt") - 2440587.5) * 86400000) AS INTEGER) AS "at" FROM "OutboxItem"`,
    )
    .all();
  const calls = await server.store.escalations.ofYard(server.yard);
  return changes.filter((change, index) => {
    if (change.priority === "note" || !isRaise(change, null) || change.from === "suppressedByDesign") return false;
    const ofFault = changes.slice(index + 1).filter(({ fault, from, to }) => fault === change.fault && from !== to);
    const end = ofFault.find(
      ({ to }) => to !== "unacknowledged" && to !== "acknowledged" && to !== "latchedUnacknowledged",
    );
    const isNotified = items.some(
      ({ topic, at }) =>
        topic === alarmTopic(feeder, change.fault) &&
        at >= change.at &&
        at <= (end?.at ?? Number.POSITIVE_INFINITY) + 1,
    );
    const waits = end === undefined && calls.some(({ fault }) => fault === change.fault);
    return !isNotified && !waits && end?.reason.includes(unnotifiedText) !== true;
  });
}

/** A yard whose keeper has quiet hours for what isn't urgent, at nine in the evening. */
async function evening(): Promise<{ server: TestServer; feeder: string }> {
  const server = await openTestServer();
  await addPhone(server, server.keeper, "Pocket");
  const me = (await requestAs(server, "GET", "/api/v1/me", server.keeper)).json().id;
  const url = `/api/v1/yards/${server.yard}/people/${me}`;
  const answer = await requestAs(server, "PATCH", url, server.keeper, {
    quietHours: { from: "09:00", to: "21:00" },
    urgentBreaks: true,
  });
  if (answer.statusCode !== 200) throw new Error(answer.body);
  return { server, feeder: (await server.addFeeder()).feeder.id };
}

describe("every raise that should notify", () => {
  it("has an item in the outbox, a waiting escalation, or a text in the log (any history)", {
    timeout: 60_000,
  }, async () => {
    let raises = 0;
    let unnotified = 0;
    await fc.assert(
      fc.asyncProperty(history, async (steps) => {
        const { server, feeder } = await evening();
        await live(server, feeder, steps);
        expect(await withoutTrace(server, feeder)).toEqual([]);
        const changes = await server.store.records.alarmChanges(
          feeder,
          0 as Instant,
          after(server.clock.now(), minutes(1)),
        );
        raises += changes.filter((change) => isRaise(change, null)).length;
        unnotified += changes.filter(({ reason }) => reason.includes(unnotifiedText)).length;
      }),
      { numRuns: runs(8) },
    );
    expect(Math.min(raises, unnotified)).toBeGreaterThan(0); // the histories reach the cases that they check
  });

  it("in the quiet hours that is over before their end is noted in the log, and sends nothing", async () => {
    const { server, feeder } = await evening();
    const raised: Step[] = [
      { kind: "there", fault: "foodLow" },
      { kind: "pass", seconds: 14_400 },
    ];
    const gone: Step[] = [
      { kind: "gone", fault: "foodLow" },
      { kind: "pass", seconds: 14_400 },
    ];
    await live(server, feeder, [...raised, ...gone]);
    const changes = await server.store.records.alarmChanges(
      feeder,
      0 as Instant,
      after(server.clock.now(), minutes(1)),
    );
    expect(changes.filter(({ reason }) => reason.includes(unnotifiedText))).toMatchObject([
      { fault: "foodLow", from: "unacknowledged", to: "returnedUnacknowledged" },
    ]);
    await advanceTime(server, minutes(1));
    expect(server.push.sent).toEqual([]);
  });

  it("and is over within one look is marked where it ends; a note isn't", () => {
    const at = 1 as Instant;
    const raise = {
      fault: "foodLow",
      priority: ruleOf("foodLow").priority,
      from: "shelved",
      to: "unacknowledged",
      at,
      reason: "Low.",
      present: false,
    };
    const end = { ...raise, from: "unacknowledged", to: "returnedUnacknowledged" };
    const changes = [raise, end] as AlarmChange[];
    expect(markUnnotified(changes, [], []).map(({ reason }) => reason)).toEqual(["Low.", `Low. ${unnotifiedText}`]);
    const notes = changes.map((change) => ({ ...change, priority: "note" as const }));
    expect(markUnnotified(notes, [], [])).toEqual(notes);
  });
});
