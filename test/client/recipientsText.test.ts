import { describe, expect, it } from "vitest";
import { groupedSilenceText, groupedSilentFeeders } from "../../client/text/groupedSilence.ts";
import { durationText, escalationText, movedEscalationOrder, quietHoursText } from "../../client/text/people.ts";
import { lastDisplayText, reachabilityWarning } from "../../client/text/reachability.ts";
import { recipientsText } from "../../client/text/recipients.ts";
import type { AlarmView, EscalationView, PhoneView } from "../../server/contract/api.ts";
import { alarmViewFixture, feederViewFixture, phonesViewFixture } from "./viewFixtures.ts";

const now = Date.parse("2026-11-25T13:20:00Z");
const zone = "Europe/Stockholm";

describe("the last receipt of a phone", () => {
  it("is shown with its day, and never as newer than it is", () => {
    expect(lastDisplayText("2026-11-25T06:31:00Z", now, zone)).toBe("Last notification shown today at 07:31.");
    expect(lastDisplayText("2026-11-24T06:31:00Z", now, zone)).toBe("Last notification shown yesterday at 07:31.");
    expect(lastDisplayText("2026-11-12T06:31:00Z", now, zone)).toBe("Last notification shown Thu 12 Nov at 07:31.");
    expect(lastDisplayText(null, now, zone)).toBe("No notification shown yet.");
  });
});

describe("the warning that nobody would be notified", () => {
  const own = { endpoint: null, storedEndpoint: null, isBlocked: false, isRenewalPending: false };
  const views = phonesViewFixture(now);
  const only = (kind: PhoneView["reachability"]["kind"], text = "It is so.") => {
    const [first] = views.phones;
    return { ...views, phones: first === undefined ? [] : [{ ...first, reachability: { kind, text } }] };
  };

  it("is not shown where nothing was sent that the phone could have displayed", () => {
    const quiet = only("unconfirmed");
    const [phone] = quiet.phones;
    if (phone === undefined) throw new Error("expected a phone");
    const silentSince = (lastAcceptedAt: string | null, lastShownAt: string | null) =>
      reachabilityWarning({ ...quiet, phones: [{ ...phone, lastAcceptedAt, lastDisplayedAt: lastShownAt }] }, own)
        ?.kind;
    expect(silentSince("2026-11-10T06:00:00Z", "2026-11-10T06:00:03Z")).toBeUndefined();
    expect(silentSince("2026-11-24T06:00:00Z", "2026-11-10T06:00:03Z")).toBe("noneConfirmed");
    expect(silentSince(null, null)).toBe("noneConfirmed"); // never confirmed at all
  });

  it("is not shown while one phone is confirmed", () => {
    expect(reachabilityWarning(views, own)).toBeNull();
    expect(reachabilityWarning(only("confirmed"), own)).toBeNull();
  });
  it("gives the reason of the only phone, and a general one for several", () => {
    expect(reachabilityWarning(only("lost"), own)?.text).toBe("Android phone: It is so.");
    const none = { ...views, phones: views.phones.filter(({ reachability }) => reachability.kind !== "confirmed") };
    expect(reachabilityWarning(none, own)?.text).toBe("It is not confirmed that your phones receive notifications.");
  });
  it("shows why this phone gets no notifications, though others do", () => {
    const lost = { ...own, storedEndpoint: "https://push.example/a" };
    expect(reachabilityWarning(views, { ...lost, isBlocked: true, isRenewalPending: false })?.text).toContain(
      "permission was removed",
    );
    expect(reachabilityWarning(views, lost)?.text).toContain("its browser lost the registration");
    expect(reachabilityWarning(views, { ...lost, endpoint: "https://push.example/a" })).toBeNull();
    expect(reachabilityWarning(views, { ...lost, storedEndpoint: "https://push.example/forgotten" })).toBeNull();
  });
});

describe("the texts about people", () => {
  it("show a person's quiet hours", () => {
    const quiet = { from: "22:00", to: "06:30" };
    expect(quietHoursText({ quietHours: quiet, urgentBreaks: true })).toBe(
      "Quiet hours 22:00 to 06:30, except urgent alarms.",
    );
    expect(quietHoursText({ quietHours: null, urgentBreaks: false })).toBe("No quiet hours.");
    expect(quietHoursText({ quietHours: { from: "22:00", to: "22:00" }, urgentBreaks: true })).toBe("No quiet hours.");
  });
  it("show who is notified first, and who next", () => {
    const people = [
      { name: "Ada", escalationOrder: 1 },
      { name: "Bo", escalationOrder: 1 },
      { name: "Cilla", escalationOrder: 2 },
    ];
    expect(escalationText(people, 60)).toBe(
      "Ada and Bo are notified first. If nobody acknowledges an urgent alarm within 1 hour, the next person is notified.",
    );
    expect(escalationText(people.slice(0, 1), 15)).toBe("Ada is notified.");
    expect([1, 15, 60, 120, 90].map(durationText)).toEqual([
      "1 minute",
      "15 minutes",
      "1 hour",
      "2 hours",
      "90 minutes",
    ]);
  });
});

describe("the recipients that an alarm has reached", () => {
  const ada = {
    name: "Ada",
    lastNotifiedAt: "2026-11-25T13:00:00Z",
    displayedAt: "2026-11-25T13:00:04Z",
    emailedAt: null,
  };
  const escalation: EscalationView = {
    feeder: "rowan",
    fault: "trayJammed",
    title: "Rowan: tray jammed",
    raisedAt: "2026-11-25T13:00:00Z",
    recipientStates: [ada],
    acknowledgedBy: null,
    unreachable: false,
  };
  it("are shown with the receipts that exist, and nothing better", () => {
    const bo = {
      name: "Bo",
      lastNotifiedAt: "2026-11-25T13:15:00Z",
      displayedAt: null,
      emailedAt: "2026-11-25T13:16:00Z",
    };
    const cilla = { ...bo, name: "Cilla", emailedAt: null };
    expect(recipientsText({ ...escalation, recipientStates: [ada, bo, cilla], acknowledgedBy: "Ada" }, now, zone)).toBe(
      "Notified: Ada at 14:00 (shown on a phone); Bo at 14:15 (e-mail); Cilla at 14:15 (not shown yet). Acknowledged by Ada.",
    );
    expect(recipientsText({ ...escalation, recipientStates: [] }, now, zone)).toBe("");
  });
});

describe("the escalation order", () => {
  const people = (...positions: number[]) =>
    positions.map((escalationOrder, index) => ({ id: "abcd".charAt(index), escalationOrder }));
  const moved = (positions: number[], id: string, to: "earlier" | "later") =>
    Object.fromEntries(movedEscalationOrder(people(...positions), id, to));

  it("changes by one position, and nobody else is moved", () => {
    expect(moved([1, 2, 3], "b", "earlier")).toEqual({ a: 2, b: 1 });
    expect(moved([1, 2, 3], "b", "later")).toEqual({ b: 3, c: 2 });
    expect(moved([1, 5, 9], "c", "earlier")).toEqual({ b: 3, c: 2 });
  });
  it("ends at both ends", () => {
    expect(moved([1, 2], "a", "earlier")).toEqual({});
    expect(moved([1, 2], "b", "later")).toEqual({});
    expect(moved([1], "a", "later")).toEqual({});
    expect(moved([1, 2], "nobody", "later")).toEqual({});
  });
  it("separates people who share a position, and leaves others together", () => {
    expect(moved([1, 1], "b", "later")).toEqual({ b: 2 });
    expect(moved([1, 1], "b", "earlier")).toEqual({ a: 2 });
    expect(moved([1, 2, 2], "a", "later")).toEqual({ a: 2, b: 1, c: 1 });
  });
});

describe("feeders of a yard that stop reporting", () => {
  const silent = (name: string, minutesAgo: number, change: Partial<AlarmView> = {}) =>
    feederViewFixture(now, {
      id: name,
      name,
      lastReportAt: new Date(now - minutesAgo * 60_000).toISOString(),
      alarms: [alarmViewFixture(now, { fault: "feederSilent", title: "feeder silent", ...change })],
    });
  const names = (...feeders: ReturnType<typeof silent>[]) => groupedSilentFeeders({ feeders }).map(({ name }) => name);

  it("are grouped where each last report is close to the one before", () => {
    expect(names(silent("Rowan", 60), silent("Larch", 50), silent("Aspen", 40))).toEqual(["Rowan", "Larch", "Aspen"]);
    expect(names(silent("Rowan", 60), silent("Larch", 44))).toEqual([]);
    expect(names(silent("Rowan", 60))).toEqual([]);
  });
  it("are not grouped where one is in the workshop, shelved or ended", () => {
    const bench = silent("Larch", 60);
    const onBench = { ...bench, settings: { ...bench.settings, placement: "onBench" as const } };
    expect(names(silent("Rowan", 60), onBench)).toEqual([]);
    for (const state of ["shelved", "outOfService", "returnedUnacknowledged", "suppressedByDesign"] as const)
      expect(names(silent("Rowan", 60), silent("Larch", 60, { state })), state).toEqual([]);
  });
  it("are named where others still report", () => {
    const two = [silent("Rowan", 60), silent("Larch", 60)];
    expect(groupedSilenceText(two, 2)).toBe("No reports from both feeders");
    expect(groupedSilenceText(two, 3)).toBe("No reports from Larch and Rowan");
    expect(groupedSilenceText([...two, silent("Aspen", 60)], 3)).toBe("No reports from all 3 feeders");
  });
});
