import { describe, expect, it } from "vitest";
import type { AlarmView, FeederView, OrderView } from "../../server/contract/api.ts";
import { ruleOf } from "../../server/domain/faults.ts";
import { alarmViewFixture, feederViewFixture } from "../client/viewFixtures.ts";
import {
  checkFeeder,
  checkFeederScreen,
  checkTexts,
  type FeederTerms,
  type Rule,
  rules,
  type Violation,
} from "./feederChecks.ts";
import { type ArrivedReport, EndpointKnowledge, FeederKnowledge, minute } from "./knowledge.ts";
import { checkPerson, checkPhone, checkPhonesScreen, checkRenotification, renotifyDueAt } from "./phoneChecks.ts";
import { checkLog, checkReadings, checkReportAnswer, checkStatus } from "./protocolChecks.ts";

/** Every rule of the checks is shown a planted fault, and the truth beside it: a check that sees nothing passes too. */

const begin = Date.parse("2026-01-12T05:00:00Z");
const at = (minutes: number) => begin + minutes * minute;
const terms: FeederTerms = { reportEverySeconds: 60, byHand: false, settingsSaid: true };
const caught = new Set<Rule>();
const broken = (found: readonly Violation[]): readonly Rule[] => {
  for (const { rule } of found) caught.add(rule);
  return [...new Set(found.map(({ rule }) => rule))];
};

/** A feeder's history: what it reports in which minute, by which start of it. */
class FeederHistory {
  readonly known = new FeederKnowledge();
  private count = 0;

  orders(minutes: number, kind: "pause" | "resume" = "pause", until: number | null = null): this {
    const id = `order-${this.known.orders.length + 1}`;
    this.known.orders.push({ id, kind, until: until === null ? null : at(until), askedAt: at(minutes) });
    return this;
  }

  /** @param what `portion` 30 s before the report, `done` 40 s before it */
  reports(
    minutes: number,
    what: { portion?: true; done?: string; paused?: boolean; start?: number; status?: number; reused?: true } = {},
  ): this {
    const { start = 0 } = what;
    const uptimeMs = minutes * minute;
    this.count += 1;
    const stored: ArrivedReport["stored"][number][] = [];
    const place = (ago: number) => ({ start, uptimeMs: uptimeMs - ago });
    if (what.done !== undefined) {
      stored.push({
        place: place(40_000),
        happenedAt: at(minutes) - 40_000,
        kind: "order",
        order: what.done,
        outcome: "done",
      });
    }
    if (what.portion) stored.push({ place: place(30_000), happenedAt: at(minutes) - 30_000, kind: "portion" });
    this.known.take({
      at: at(minutes),
      number: this.count,
      status: what.status ?? 200,
      place: place(0),
      paused: what.paused ?? null,
      stored,
      startedAnewUnderKnownBoot: what.reused ?? false,
    });
    return this;
  }
}

const paused = () =>
  new FeederHistory().reports(1, { paused: false }).orders(2).reports(3).reports(4, { done: "order-1" });
const order = (status: OrderView["status"], change: Partial<OrderView> = {}): OrderView => ({
  id: "order-1",
  kind: "pause",
  status,
  until: null,
  requestedAt: new Date(at(2)).toISOString(),
  requestedBy: "Ada",
  sentAt: null,
  answeredAt: null,
  problem: null,
  ...change,
});
const pauseView = (order: OrderView | null, more: Partial<FeederView["pause"]> = {}): FeederView["pause"] => ({
  statement: null,
  lastPortion: null,
  status: { kind: "unknown", at: null },
  lost: null,
  order,
  ...more,
});
const shows = (pause: FeederView["pause"], change: Partial<FeederView> = {}): FeederView =>
  feederViewFixture(begin, { pause, summary: "Paused until resumed.", ...change });
const alarm = (title: string, change: Partial<AlarmView> = {}): AlarmView => ({
  ...alarmViewFixture(begin),
  title,
  reason: "Something is wrong.",
  evidence: [],
  priority: "urgent",
  state: "unacknowledged",
  ...change,
});
const check = (view: FeederView, history: FeederHistory, minutes: number, as = terms) => {
  history.known.observe(at(minutes));
  return broken(checkFeeder(view, history.known, as, at(minutes)));
};
const confirmed: FeederView["pause"] = pauseView(order("confirmed"));

describe("a confirmed pause", () => {
  it("stands while the feeder's done is the newest that is known", () => {
    expect(check(shows(confirmed), paused(), 4)).toEqual([]);
  });

  it.each<[string, FeederHistory, number]>([
    ["a portion came after it", paused().reports(5, { portion: true }), 9],
    ["the feeder started again", paused().reports(6, { start: 1 }), 6],
    ["it started again under its old boot id", paused().reports(6, { status: 409, reused: true }), 9],
    ["it reports that it is not paused", paused().reports(5, { paused: false }), 9],
    [
      "it reports that it is paused in the very report that brings a portion",
      paused().reports(5, { portion: true, paused: true }),
      9,
    ],
  ])("is undone where %s", (_, history, minutes) => {
    expect(check(shows(confirmed), history, minutes)).toContain("confirmed");
  });

  it("is undone in texts as well", () => {
    const history = paused().reports(5, { portion: true });
    expect(check(shows(pauseView(order("sent"))), history, 5)).toContain("confirmed");
  });

  it("stands again once a new start has reported that it is paused", () => {
    expect(check(shows(confirmed), paused().reports(6, { start: 1, paused: true }), 6)).toEqual([]);
  });

  it("is not moved by an old report that comes late", () => {
    expect(check(shows(confirmed), paused().reports(5, { paused: true }).reports(1, { paused: false }), 5)).toEqual([]);
  });

  it("never stands beside feeding as usual on one screen", () => {
    const text = "Last reported by the feeder: feeding as usual.\nPause until resumed: confirmed by the feeder";
    const { known } = paused();
    expect(broken(checkFeederScreen(text, shows(confirmed), known, terms, at(4)))).toEqual(["confirmed"]);
    const honest = "Pause until resumed: not confirmed.";
    expect(checkFeederScreen(honest, shows(confirmed), known, terms, at(4))).toEqual([]);
  });
});

describe("resuming, and the feeder's last statement", () => {
  const resume = order("confirmed", { id: "order-2", kind: "resume" });

  it("is not confirmed while the feeder reports that it is paused", () => {
    const history = paused().orders(5, "resume").reports(7, { done: "order-2" }).reports(8, { paused: true });
    expect(check(shows(pauseView(resume), { summary: "-" }), history, 8)).toContain("resumed");
  });

  it("never reads as feeding as usual after it reported that it is paused", () => {
    expect(check(shows(confirmed, { summary: "Feeding as usual." }), paused(), 4)).toContain("resumed");
  });

  it("quotes nothing but its last statement", () => {
    const stated = pauseView(order("confirmed"), { statement: { paused: false, at: new Date(at(4)).toISOString() } });
    expect(check(shows(stated), paused().reports(5, { paused: true }), 5)).toEqual(["lastStatement"]);
  });
});

describe("deadlines and alarms of a pause", () => {
  it("wants an order shown as overdue from when it was requested, however often it was sent", () => {
    const history = () => new FeederHistory().reports(1).orders(2).reports(3).reports(9);
    const sent = shows(pauseView(order("sent", { sentAt: new Date(at(9)).toISOString() })), { summary: "-" });
    expect(check(sent, history(), 4)).toEqual([]);
    expect(check(sent, history(), 9)).toEqual(["overdue"]);
    expect(check({ ...sent, pause: pauseView(order("overdue")) }, history(), 9)).toEqual([]);
  });

  it("wants an urgent alarm for food given while paused, in the same step", () => {
    const history = () => paused().reports(5, { portion: true });
    const view = shows(pauseView(order("sent")), { summary: "-" });
    expect(check(view, history(), 5)).toEqual(["foodThoughPaused"]);
    expect(
      check({ ...view, alarms: [alarm(ruleOf("feedsThoughPaused").title, { priority: "soon" })] }, history(), 5),
    ).toEqual(["foodThoughPaused"]);
    expect(check({ ...view, alarms: [alarm(ruleOf("feedsThoughPaused").title)] }, history(), 5)).toEqual([]);
  });

  it("wants none about a portion that a pause's own end allows", () => {
    const history = new FeederHistory()
      .reports(1)
      .orders(2, "pause", 6)
      .reports(4, { done: "order-1" })
      .reports(9, { portion: true });
    expect(check(shows(pauseView(null), { summary: "-" }), history, 9)).toEqual([]);
  });

  it("wants an urgent alarm where done and paused: false contradict each other, in the same step", () => {
    const history = () => paused().reports(5, { paused: false });
    const view = shows(pauseView(order("sent")), { summary: "-" });
    expect(check(view, history(), 5)).toEqual(["contradiction"]);
    expect(check({ ...view, alarms: [alarm(ruleOf("pauseContradicted").title)] }, history(), 5)).toEqual([]);
  });
});

describe("OK", () => {
  const fine = feederViewFixture(begin, { summary: "OK: enough until Saturday.", pause: pauseView(null) });

  it("may stand where all that is known is good", () => {
    expect(check(fine, new FeederHistory().reports(1), 2)).toEqual([]);
  });

  it.each<[string, FeederView, FeederHistory, number]>([
    ["an alarm", { ...fine, alarms: [alarm("tray jammed")] }, new FeederHistory().reports(1), 2],
    [
      "a shelved alarm",
      { ...fine, alarms: [alarm("food low", { state: "shelved" })] },
      new FeederHistory().reports(1),
      2,
    ],
    [
      "a suppressed note",
      { ...fine, alarms: [alarm("frost inside", { state: "suppressedByDesign", priority: "note" })] },
      new FeederHistory().reports(1),
      2,
    ],
    ["an unknown level", { ...fine, hopper: { ...fine.hopper, level: null } }, new FeederHistory().reports(1), 2],
    ["a feeder that never reported", fine, new FeederHistory(), 2],
    ["a silence longer than its rhythm", fine, new FeederHistory().reports(1), 30],
    [
      "reports that can't be read",
      fine,
      [2, 10, 20, 30].reduce((history, when) => history.reports(when, { status: 400 }), new FeederHistory().reports(1)),
      30,
    ],
    ["an open order", { ...fine, pause: pauseView(order("sent")) }, new FeederHistory().reports(1).orders(2), 3],
  ])("never stands beside %s", (_, view, history, minutes) => {
    expect(check(view, history, minutes)).toContain("well");
  });
});

describe("reports", () => {
  const view = feederViewFixture(begin, { summary: "-", pause: pauseView(null) });
  const silent = { ...view, alarms: [alarm(ruleOf("feederSilent").title)] };

  it("by hand make no urgent silence", () => {
    expect(check(silent, new FeederHistory().reports(1), 20, { ...terms, byHand: true })).toEqual(["byHand"]);
    const note = { ...view, alarms: [alarm(ruleOf("reportsIrregular").title, { priority: "note" })] };
    expect(check(note, new FeederHistory().reports(1), 20, { ...terms, byHand: true })).toEqual([]);
  });

  it("that are refused are signs of life, and named as unreadable", () => {
    const history = () => new FeederHistory().reports(1).reports(2, { status: 400 }).reports(20, { status: 400 });
    expect(check(silent, history(), 20)).toEqual(["signOfLife", "unreadable"]);
    expect(check({ ...view, alarms: [alarm(ruleOf("reportsUnreadable").title)] }, history(), 20)).toEqual([]);
    expect(check(silent, history(), 40)).toEqual([]); // by then it is silent indeed
  });

  it("that begin again under a known boot id are shown as such", () => {
    const history = () => new FeederHistory().reports(9).reports(10, { reused: true });
    expect(check(view, history(), 10)).toEqual(["bootReused"]);
    expect(check({ ...view, alarms: [alarm(ruleOf("bootReused").title)] }, history(), 10)).toEqual([]);
  });

  it("leave storedThrough behind what is not stored", () => {
    const sent = [{ seq: 1, body: "{}", malformed: false }];
    expect(broken(checkReportAnswer("Rowan", 1, sent, new Map(), new Set([1])))).toEqual(["stored"]);
    expect(broken(checkReportAnswer("Rowan", 1, sent, new Map([[1, "another"]]), new Set()))).toEqual(["stored"]);
    expect(checkReportAnswer("Rowan", 1, sent, new Map([[1, "{}"]]), new Set())).toEqual([]);
    expect(checkReportAnswer("Rowan", null, sent, new Map(), new Set())).toEqual([]);
    const bad = [{ seq: 1, body: "{}", malformed: true }];
    expect(checkReportAnswer("Rowan", 1, bad, new Map(), new Set([1]))).toEqual([]);
    expect(broken(checkReportAnswer("Rowan", 1, bad, new Map(), new Set()))).toEqual(["stored"]);
  });

  it("are stored once, each event of them", () => {
    expect(checkLog("Rowan", new Set(["a"]), new Map([["a", 1]]))).toEqual([]);
    expect(broken(checkLog("Rowan", new Set(["a", "b"]), new Map([["a", 1]])))).toEqual(["eventKept"]);
    expect(broken(checkLog("Rowan", new Set(["a"]), new Map([["a", 2]])))).toEqual(["eventKept"]);
  });

  it("stand though a reading is bad, and name a misspelt one", () => {
    expect(broken(checkReadings("Rowan", 400, {}, ["airCelsius"], []))).toEqual(["reading"]);
    expect(broken(checkReadings("Rowan", 200, {}, [], ["hopperGram"]))).toEqual(["reading"]);
    expect(checkReadings("Rowan", 200, { unknown: ["hopperGram"] }, ["airCelsius"], ["hopperGram"])).toEqual([]);
  });

  it("are never answered by a fault of ours", () => {
    expect(broken(checkStatus("POST /api/v1/report", 500, "oh"))).toEqual(["server"]);
    expect(checkStatus("POST /api/v1/report", 503, "busy")).toEqual([]);
  });
});

describe("reach", () => {
  const reach = (kind: "confirmed" | "unconfirmed" | "lost", text = "") => ({ kind, text });
  const phone = (kind: "confirmed" | "unconfirmed" | "lost") => ({
    endpoint: "e",
    label: "Ada's phone",
    reachability: reach(kind),
  });
  const known = (shown: boolean) => {
    const one = new EndpointKnowledge("Ada", at(0));
    if (shown) one.receipts.push({ at: at(1), feeder: null, fault: null, person: "Ada" });
    return one;
  };

  it("is claimed by a display receipt for this address alone", () => {
    expect(checkPhone(phone("confirmed"), known(true), at(2))).toEqual([]);
    expect(broken(checkPhone(phone("confirmed"), known(false), at(2)))).toEqual(["reach"]);
    const handedInAnew = known(true);
    handedInAnew.goneAt = at(2);
    handedInAnew.listAnew(at(3));
    expect(broken(checkPhone(phone("confirmed"), handedInAnew, at(4)))).toEqual(["reach"]);
    expect(checkPhone(phone("unconfirmed"), handedInAnew, at(4))).toEqual([]);
  });

  it("is lost once the push service answered that the phone is gone", () => {
    const gone = known(true);
    gone.goneAt = at(2);
    expect(broken(checkPhone(phone("unconfirmed"), gone, at(3)))).toEqual(["gonePhone"]);
    expect(checkPhone(phone("lost"), gone, at(3))).toEqual([]);
  });

  it("of a person is that of their phones", () => {
    expect(broken(checkPerson({ name: "Ada", reachability: reach("confirmed") }, [known(false)], at(2)))).toEqual([
      "reach",
    ]);
    expect(checkPerson({ name: "Ada", reachability: reach("confirmed") }, [known(true)], at(2))).toEqual([]);
    expect(
      checkPerson({ name: "Ada", reachability: reach("unconfirmed", "No phone can be notified just now.") }, [], at(2)),
    ).toEqual([]);
  });

  it("on the phones' screen speaks of this browser's own address", () => {
    for (const claim of ["Reachable.", "Reachable."]) {
      const text = `Ada's phone (this phone)\n${claim} Shown today.\nRemove Ada's phone`;
      expect(broken(checkPhonesScreen(text, known(false), 1, at(2)))).toEqual(["reach"]);
      expect(broken(checkPhonesScreen(text, known(true), 0, at(2)))).toEqual(["reach"]);
      expect(checkPhonesScreen(text, known(true), 1, at(2))).toEqual([]);
    }
    const lost = "Ada's phone (this phone)\nNot reachable. Its registration is lost.\nRemove Ada's phone";
    expect(checkPhonesScreen(lost, known(false), 0, at(2))).toEqual([]);
  });

  it("is used at once for an urgent alarm that nobody was shown", () => {
    const unshown = [
      { feeder: "rowan", fault: "trayJammed", title: "tray jammed", raisedAt: new Date(at(1)).toISOString() },
    ];
    expect(broken(checkRenotification("Ada's phone", unshown, []))).toEqual(["renotification"]);
    expect(broken(checkRenotification("Ada's phone", unshown, [{ feeder: "larch", fault: "trayJammed" }]))).toEqual([
      "renotification",
    ]);
    expect(checkRenotification("Ada's phone", unshown, [{ feeder: "rowan", fault: "trayJammed" }])).toEqual([]);
  });

  it("waits for each earlier level that may yet be shown it, and for none else", () => {
    expect(renotifyDueAt(at(5), 0)).toBe(at(5));
    expect(renotifyDueAt(at(5), 2)).toBeGreaterThanOrEqual(at(5 + 2 * 15));
    expect(renotifyDueAt(at(5), 2)).toBeLessThan(at(5 + 3 * 15));
  });
});

describe("texts", () => {
  it.each([
    "Last report 2026-01-12T05:00:00.000Z",
    "φ is 8",
    "p90 in days",
    "4503599627370497 events never arrived",
    "undefined",
    "NaN g",
  ])("hold no %s", (text) => {
    expect(broken(checkTexts("Rowan", [text]))).toEqual(["text"]);
  });

  it("may speak of degrees, shares and dates", () => {
    expect(checkTexts("Rowan", ["-6.2 °C on 12 January 2026, 80 % sure, ± 3 g"])).toEqual([]);
  });

  it("attribute nothing to a keeper who entered nothing", () => {
    expect(broken(checkTexts("Rowan", ["A portion is counted as 1.5 g (entered)."], false))).toEqual(["attributed"]);
    expect(checkTexts("Rowan", ["A portion is counted as 1.5 g (entered)."], true)).toEqual([]);
  });
});

describe("the checks", () => {
  it("found a planted fault of each of its rules", () => {
    expect([...caught].sort()).toEqual(Object.keys(rules).sort());
  });
});

describe("a wrong reading", () => {
  it("is not taken for reports that can't be read", () => {
    const view = feederViewFixture(begin, { summary: "-", pause: pauseView(null) });
    const history = new FeederHistory().reports(1).reports(2, { status: 400 }).reports(20, { status: 400 });
    expect(check({ ...view, alarms: [alarm(ruleOf("readingStuck").title)] }, history, 20)).toEqual(["unreadable"]);
  });
});
