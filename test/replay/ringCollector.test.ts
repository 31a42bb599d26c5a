import { describe, expect, it } from "vitest";
import type { AlarmChange, AlarmState } from "../../server/domain/alarms/alarmStates.ts";
import type { Effect } from "../../server/domain/effects.ts";
import type { Priority } from "../../server/domain/faults.ts";
import { RingCollector } from "../../server/replay/ringCollector.ts";
import { at } from "./lines.ts";

const changed = (minute: number, from: AlarmState, to: AlarmState, priority: Priority = "soon"): Effect => {
  const change: AlarmChange = { fault: "foodLow", priority, from, to, at: at(minute), reason: "", present: true };
  return { kind: "alarmChanged", change };
};
const text = { title: "", body: "" };
const raised = (minute: number, sameEpisode: boolean): Effect => ({
  kind: "alarmEvent",
  event: { kind: "raised", fault: "foodLow", priority: "soon", at: at(minute), sameEpisode, ...text },
});
const worsened = (minute: number): Effect => ({
  kind: "alarmEvent",
  event: { kind: "worsened", fault: "foodLow", priority: "urgent", at: at(minute), raisedAt: at(0), ...text },
});

function collect(...steps: readonly (readonly Effect[])[]) {
  const rings = new RingCollector();
  for (const effects of steps) rings.add("rowan", {}, effects);
  const record = rings.record();
  return {
    rings: record.rings.map((ring) => [ring.priority, ring.at, ring.endedAt]),
    inForce: record.inForce.map(({ from, to }) => [from, to]),
  };
}

const raise = (minute: number, sameEpisode = false) => [
  changed(minute, "normal", "unacknowledged"),
  raised(minute, sameEpisode),
];
const end = (minute: number) => [changed(minute, "unacknowledged", "returnedUnacknowledged")];

describe("what rings in a replay", () => {
  it("is an alarm that is raised, until it has ended", () => {
    expect(collect(raise(10), end(40))).toEqual({ rings: [["soon", at(10), at(40)]], inForce: [[at(10), at(40)]] });
    expect(collect(raise(10))).toEqual({ rings: [["soon", at(10), null]], inForce: [[at(10), null]] });
  });

  it("is once an alarm that comes back silently, and twice one that rings again", () => {
    expect(collect(raise(10), end(40), raise(50, true), end(60))).toEqual({
      rings: [["soon", at(10), at(60)]],
      inForce: [
        [at(10), at(40)],
        [at(50), at(60)],
      ],
    });
    expect(collect(raise(10), end(40), raise(200), end(210)).rings).toEqual([
      ["soon", at(10), at(40)],
      ["soon", at(200), at(210)],
    ]);
  });

  it("is also a priority that rises, and ends with the alarm", () => {
    expect(collect(raise(10), [worsened(20)], end(40))).toEqual({
      rings: [
        ["soon", at(10), at(20)],
        ["urgent", at(20), at(40)],
      ],
      inForce: [[at(10), at(40)]],
    });
  });

  it("is a note apart, which has no event", () => {
    expect(collect([changed(10, "normal", "unacknowledged", "note")], end(40)).rings).toEqual([
      ["note", at(10), at(40)],
    ]);
  });

  it("is not in force while it is suppressed, and may still be the same alarm afterwards", () => {
    const suppressed = [changed(20, "unacknowledged", "suppressedByDesign")];
    expect(
      collect(raise(10), suppressed, [changed(30, "suppressedByDesign", "unacknowledged"), raised(30, true)]),
    ).toEqual({
      rings: [["soon", at(10), null]],
      inForce: [
        [at(10), at(20)],
        [at(30), null],
      ],
    });
  });

  it("stays in force while it is acknowledged", () => {
    const acknowledged = [changed(20, "unacknowledged", "acknowledged")];
    expect(collect(raise(10), acknowledged, [changed(40, "acknowledged", "normal")])).toEqual({
      rings: [["soon", at(10), at(40)]],
      inForce: [[at(10), at(40)]],
    });
  });

  it("is not what stands at the begin, though it is in force from there on", () => {
    const rings = new RingCollector();
    rings.begin(
      "rowan",
      { foodLow: { state: "acknowledged" } as never, iceLock: { state: "shelved" } as never },
      at(5),
    );
    rings.add("rowan", {}, [changed(40, "acknowledged", "normal")]);
    expect(rings.record()).toEqual({
      rings: [],
      inForce: [{ feeder: "rowan", fault: "foodLow", from: at(5), to: at(40) }],
    });
  });
});
