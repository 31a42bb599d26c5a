import { describe, expect, it } from "vitest";
import { alarmTopic } from "../../../server/domain/alarms/alarmTopic.ts";
import { after, hours, type Instant, minutes } from "../../../server/domain/instant.ts";
import { type GroupedFeeder, type GroupedYard, yardTopic } from "../../../server/domain/notification/alarmGroup.ts";
import type { AlarmEvent, Escalation } from "../../../server/domain/notification/escalation.ts";
import {
  advanceGrouped,
  type GroupStep,
  handleGroupedEvent,
  isGrouped,
} from "../../../server/domain/notification/groupedAlarms.ts";
import { silentYardNews } from "../../../server/domain/notification/groupedText.ts";
import { recipientStateFixture } from "./escalationFixture.ts";
import { notificationText, stockholm } from "./escalationScenario.ts";
import { ago, feeder, names, now, recipients, silence, silent, yardOf } from "./silentYardFixture.ts";

const stored = (step: GroupStep, feeder: string | null): Escalation | null | undefined =>
  step.escalations.find(
    ({ topic }) =>
      topic === (feeder === null ? yardTopic("alder", "feederSilent") : alarmTopic(feeder, "feederSilent")),
  )?.escalation;
const texts = (step: GroupStep) => step.notifications.map(notificationText);

describe("a first alarm", () => {
  const raise: AlarmEvent = {
    ...{ kind: "raised", fault: "feederSilent", priority: "urgent", at: now, sameEpisode: false },
    ...{ title: "Rowan: no reports", body: "No report for 3 minutes." },
  };
  const heldUntil = (other: Partial<GroupedFeeder>) =>
    stored(
      handleGroupedEvent(
        yardOf([feeder("rowan"), feeder("larch", other)]),
        { feeder: "rowan", event: raise },
        recipients,
        now,
      ),
      "rowan",
    )?.holdUntil;

  it("waits two minutes for one that is late too and could raise its alarm by then", () => {
    expect(heldUntil({ silentFrom: after(now, minutes(1)) })).toBe(after(now, minutes(2)));
    expect(heldUntil({ silentFrom: after(now, minutes(2)) })).toBe(after(now, minutes(2)));
  });

  it.each<[string, Partial<GroupedFeeder>]>([
    ["could raise its alarm only later", { silentFrom: after(now, minutes(2.1)) }],
    ["isn't late: one and a half intervals have not passed", { lastReportAt: ago(10), reportEvery: minutes(10) }],
    ["is in storage", { inService: false }],
    ["has never reported", { silentFrom: null, lastReportAt: null }],
    ["stopped at another time", { lastReportAt: ago(40) }],
  ])("waits for no other that %s", (_, other) => {
    expect(heldUntil(other)).toBeNull();
  });

  it("doesn't wait a second time where it resumes within the hour at a level that was notified", () => {
    const known = silence("rowan", {
      ...{ level: 1, levelAt: ago(30), endedAt: ago(16), raisedAt: ago(30), renewedAt: ago(30) },
      recipientStates: [recipientStateFixture({ pushedAt: ago(30), displayedAt: ago(29) })],
    });
    const late = feeder("larch", { silentFrom: after(now, minutes(1)) });
    const step = handleGroupedEvent(
      yardOf([feeder("rowan", { escalation: known }), late]),
      { feeder: "rowan", event: { ...raise, sameEpisode: true } as AlarmEvent },
      recipients,
      now,
    );
    expect(stored(step, "rowan")?.holdUntil).toBeNull();
  });
});

describe("ice in one night", () => {
  const fault = "iceLock" as const;
  const ice = (id: string, raisedAt: Instant, different: Partial<Escalation> = {}): Escalation =>
    silence(id, { fault, priority: "soon", topic: alarmTopic(id, fault), raisedAt, renewedAt: raisedAt, ...different });
  const iceYard = (...escalations: readonly (readonly [string, Escalation | null])[]): GroupedYard => ({
    ...yardOf(escalations.map(([id, escalation]) => feeder(id, { escalation }))),
    fault,
  });
  const raise = (id: string, yard: GroupedYard, priority: "soon" | "urgent" = "soon") => {
    const text = { title: `${names[id]}: ice`, body: "It was wet and it froze." };
    const event: AlarmEvent = { kind: "raised", fault, priority, at: now, sameEpisode: false, ...text };
    const step = handleGroupedEvent(yard, { feeder: id, event }, recipients, now);
    const of = (feeder: string) => step.escalations.find(({ topic }) => topic === alarmTopic(feeder, fault));
    return { step, of };
  };
  const notified = [recipientStateFixture({ pushedAt: ago(60), displayedAt: ago(59) })];

  it("is named by the first feeder's escalation for 18 hours", () => {
    const leading = (raised: number) =>
      raise(
        "larch",
        iceYard(
          ["rowan", ice("rowan", after(now, hours(-raised)), { level: 1, recipientStates: notified })],
          ["larch", null],
        ),
      );
    const joined = leading(18);
    expect(joined.of("larch")?.escalation?.groupedUnder).toBe(alarmTopic("rowan", fault));
    expect(joined.of("rowan")?.escalation?.alsoFeeders).toEqual(["Larch"]);
    expect(joined.of("larch")?.nextAt).toBe(after(now, hours(6)));
    expect(texts(joined.step)).toEqual(["ada push softly Rowan: no reports"]);
    const nextNight = leading(18.1);
    expect(nextNight.of("larch")?.escalation?.groupedUnder).toBeNull();
  });

  it("notifies by itself where it is urgent, and corrects nothing that was acknowledged", () => {
    const acknowledged = ice("rowan", ago(60), { level: 1, recipientStates: notified, acknowledgedBy: "Ada" });
    const yard = iceYard(["rowan", acknowledged], ["larch", null]);
    expect(raise("larch", yard, "urgent").of("larch")?.escalation?.groupedUnder).toBeNull();
    const quiet = raise("larch", yard);
    expect(quiet.of("larch")?.escalation?.groupedUnder).toBe(alarmTopic("rowan", fault));
    expect(texts(quiet.step)).toEqual([]);
  });

  it("goes to the next feeder, with all that was notified, when the first one's has ended", () => {
    const under = { groupedUnder: alarmTopic("rowan", fault) };
    const first = ice("rowan", ago(60), { level: 1, recipientStates: notified, alsoFeeders: ["Larch", "Elder"] });
    const yard = iceYard(
      ["rowan", first],
      ["larch", ice("larch", ago(50), under)],
      ["elder", ice("elder", ago(40), under)],
    );
    const event: AlarmEvent = { kind: "returned", fault, at: now, title: "Rowan: back", body: "Back." };
    const step = handleGroupedEvent(yard, { feeder: "rowan", event }, recipients, now);
    const of = (id: string) => step.escalations.find(({ topic }) => topic === alarmTopic(id, fault))?.escalation;
    expect(of("larch")).toMatchObject({
      ...{ groupedUnder: null, alsoFeeders: ["Elder"], level: 1, renewedAt: ago(60), acknowledgedBy: null },
      recipientStates: [{ person: "ada", timesNotified: 1 }],
    });
    expect(of("elder")?.groupedUnder).toBe(alarmTopic("larch", fault));
  });

  it("is no longer named by the first one when another feeder's has ended", () => {
    const under = { groupedUnder: alarmTopic("rowan", fault) };
    const first = ice("rowan", ago(60), { level: 1, recipientStates: notified, alsoFeeders: ["Larch", "Elder"] });
    const yard = iceYard(
      ["rowan", first],
      ["larch", ice("larch", ago(50), under)],
      ["elder", ice("elder", ago(40), under)],
    );
    const event: AlarmEvent = { kind: "returned", fault, at: now, title: "Larch: back", body: "Back." };
    const step = handleGroupedEvent(yard, { feeder: "larch", event }, recipients, now);
    expect(step.escalations.find(({ topic }) => topic === alarmTopic("rowan", fault))?.escalation?.alsoFeeders).toEqual(
      ["Elder"],
    );
  });

  it("notifies by itself once the first feeder is removed from the yard", () => {
    const alone = iceYard(["larch", ice("larch", ago(50), { groupedUnder: alarmTopic("rowan", fault) })]);
    const step = advanceGrouped(alone, recipients, now);
    expect(step.escalations[0]?.escalation?.groupedUnder).toBeNull();
    expect(texts(step)).toEqual(["ada push Larch: no reports"]);
  });
});

describe("grouped faults", () => {
  it("are missing reports and ice: each other fault is one feeder's own", () => {
    expect((["feederSilent", "iceLock", "foodOut", "trayJammed"] as const).map(isGrouped)).toEqual([
      true,
      true,
      false,
      false,
    ]);
  });

  it("are handled for feeders of the yard, and for no other fault", () => {
    const event: AlarmEvent = { kind: "acknowledged", fault: "foodOut", at: now, by: "Ada" };
    expect(() => handleGroupedEvent(yardOf([]), { feeder: "rowan", event }, recipients, now)).toThrow("rowan");
    expect(() => advanceGrouped({ ...yardOf([]), fault: "foodOut" }, recipients, now)).toThrow("foodOut");
  });

  it("name four feeders, with the time of each one's last report, and count the others", () => {
    const silentOnes = ["a", "b", "c", "d", "e"].map((id) =>
      silent(id, { name: id.toUpperCase(), lastReportAt: ago(10) }),
    );
    expect(silentYardNews("Alder Croft", silentOnes.slice(0, 4), 6, stockholm)).toMatchObject({
      title: "Alder Croft: no reports from 4 of 6 feeders",
      body: expect.stringMatching(/^Last reports: A at 11:50, B at 11:50, C at 11:50, D at 11:50\. They/),
    });
    expect(silentYardNews("Alder Croft", silentOnes, 5, stockholm)).toMatchObject({
      title: "Alder Croft: no reports from all 5 feeders",
      body: expect.stringContaining("D at 11:50 and 1 more."),
    });
  });
});
