import { describe, expect, it } from "vitest";
import type { Alarm } from "../../server/domain/alarms/alarm.ts";
import { shelve } from "../../server/domain/alarms/answers.ts";
import { type FaultKind, ruleOf } from "../../server/domain/faults.ts";
import { type FeederState, newFeeder } from "../../server/domain/feeder.ts";
import { feederWords } from "../../server/domain/feederWords.ts";
import { refilled } from "../../server/domain/hopper/refill.ts";
import { type Instant, instantOf } from "../../server/domain/instant.ts";
import { answerOrder, askOrder } from "../../server/domain/orders/lifeCycle.ts";
import type { Order } from "../../server/domain/orders/order.ts";
import { heard } from "../../server/domain/silence/feederSilence.ts";
import { rowanSettings } from "./rowan.ts";

// 15:00 in Stockholm, which is an hour ahead of UTC in December.
const now = instantOf("2026-12-01T14:00:00Z");
const earlierToday = instantOf("2026-12-01T13:20:00Z");

const silent = newFeeder(rowanSettings, instantOf("2026-11-01T00:00:00Z"));
const connected = (lastHeard: Instant = now): FeederState => ({
  ...silent,
  link: heard(silent.link, { boot: "b", sentUptime: null, reportEvery: rowanSettings.reportEvery }, lastHeard),
});
const raised = (kind: FaultKind, since: Instant): { [kind in FaultKind]?: Alarm } => ({
  [kind]: {
    priority: ruleOf(kind).priority,
    since,
    finding: { reason: "", evidence: [], sure: null },
    phase: "unacknowledged",
    present: true,
    raisedAt: since,
    called: ruleOf(kind).priority,
    awaySince: null,
  } satisfies Alarm,
});
const pause: Order = {
  id: "p1",
  kind: "pause",
  until: instantOf("2026-12-01T15:00:00Z"),
  askedAt: earlierToday,
  askedBy: "Ada",
  phase: "asked",
  sentAt: null,
  answeredAt: null,
  problem: null,
};
const asked = (state: FeederState): FeederState => ({ ...state, orders: askOrder(state.orders, pause).orders });
const paused = (state: FeederState): FeederState => {
  const done = { order: "p1", outcome: "done", problem: null } as const;
  return { ...state, orders: answerOrder(asked(state).orders, done, earlierToday).orders };
};
const filled = (state: FeederState): FeederState => ({
  ...state,
  hopper: refilled(state.hopper, { at: earlierToday, what: { kind: "filled" } }, rowanSettings),
});

describe("a feeder's words", () => {
  it("say that it was never heard", () => {
    expect(feederWords(silent, now)).toBe("Not yet connected.");
  });

  it("say where it is when it isn't in the garden, unless something urgent is told all the same", () => {
    const sent = (duty: "onBench" | "putAway") => ({ ...connected(), settings: { ...rowanSettings, duty } });
    expect(feederWords(sent("onBench"), now)).toMatch(/^On the bench: /);
    expect(feederWords(sent("putAway"), now)).toMatch(/^Put away: /);
    const freezing = { ...sent("putAway"), alarms: raised("batteryFreezing", earlierToday) };
    expect(feederWords(freezing, now)).toBe("Battery near freezing since 14:20.");
  });

  it("ask to look at what may have taken harm, after what is urgent now", () => {
    const standing = raised("batteryFreezing", earlierToday).batteryFreezing as Extract<Alarm, { called: unknown }>;
    const latched = { ...standing, phase: "latchedUnacknowledged", returnedAt: now, backSince: null } as Alarm;
    const alarms = { ...raised("foodLow", now), batteryFreezing: latched };
    expect(feederWords({ ...connected(), alarms }, now)).toBe("To be looked at: battery near freezing, over by now.");
    expect(feederWords({ ...connected(), alarms: { ...alarms, ...raised("trayJammed", now) } }, now)).toMatch(
      /^Tray jammed/,
    );
  });

  it("tell the gravest alarm and since when, by the yard's own clock", () => {
    const state = { ...connected(), alarms: { ...raised("foodLow", now), ...raised("trayJammed", earlierToday) } };
    expect(feederWords(state, now)).toBe("Tray jammed since 14:20.");
  });

  it("name the day where it wasn't today", () => {
    const alarms = raised("trayJammed", instantOf("2026-11-30T21:10:00Z"));
    expect(feederWords({ ...connected(), alarms }, now)).toBe("Tray jammed since yesterday 22:10.");
  });

  it("count a silence from when it was last heard, not from when that was noticed", () => {
    const state = { ...connected(instantOf("2026-12-01T02:12:00Z")), alarms: raised("feederSilent", earlierToday) };
    expect(feederWords(state, now)).toBe("Silent since 03:12.");
  });

  it("tell a pause that is kept, one that is asked, and a graver thing before either", () => {
    expect(feederWords(paused(connected()), now)).toBe("Paused until 16:00.");
    expect(feederWords(asked(connected()), now)).toBe("Waiting since 14:20 for it to pause.");
    const cold = { ...paused(connected()), alarms: raised("batteryFreezing", earlierToday) };
    expect(feederWords(cold, now)).toBe("Battery near freezing since 14:20.");
    const low = { ...paused(connected()), alarms: raised("foodLow", earlierToday) };
    expect(feederWords(low, now)).toBe("Paused until 16:00.");
  });

  it("call a feeder well that only has something to note, and name it", () => {
    const note = { ...filled(connected()), alarms: raised("countsBackwards", earlierToday) };
    expect(feederWords(note, now)).toMatch(/^Well: .*\. Noted: count ran backwards\.$/);
    const both = { ...note, alarms: { ...note.alarms, ...raised("supplyWeak", earlierToday) } };
    expect(feederWords(both, now)).toBe("Supply weak since 14:20.");
  });

  it("leave out what the keeper has put aside or what only may come", () => {
    const context = { kind: "trayJammed", rule: ruleOf("trayJammed"), now } as const;
    const { alarm } = shelve(null, instantOf("2026-12-02T14:00:00Z"), "Ada", context);
    const shelved = { ...filled(connected()), alarms: alarm === null ? {} : { trayJammed: alarm } };
    expect(feederWords(shelved, now)).toMatch(/^Well: /);
  });

  it("say how long the food will last, or what is missing to say so", () => {
    expect(feederWords(connected(), now)).toBe("Well: no word yet on how much is in it: weigh it or enter a refill.");
    expect(feederWords(filled(connected()), now)).toBe("Well: too early to say how long it lasts.");
  });
});
