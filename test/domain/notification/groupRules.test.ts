import { describe, expect, it } from "vitest";
import { alarmTopic } from "../../../server/domain/alarms/alarmTopic.ts";
import { after, hours, type Instant, instantOf, minutes, type Span } from "../../../server/domain/instant.ts";
import { type GroupedFeeder, type GroupedYard, yardTopic } from "../../../server/domain/notification/alarmGroup.ts";
import type { AlarmEvent, Escalation, SilentFeeder } from "../../../server/domain/notification/escalation.ts";
import {
  advanceGrouped,
  type GroupStep,
  handleGroupedEvent,
  isGrouped,
} from "../../../server/domain/notification/groupedAlarms.ts";
import { allReportingNews, silentYardNews } from "../../../server/domain/notification/groupedText.ts";
import { escalationFixture, recipientStateFixture } from "./escalationFixture.ts";
import { ada, bo, notificationText, recipientsOf, stockholm } from "./escalationScenario.ts";

const now = instantOf("2026-12-01T11:00:00Z");
const ago = (count: number): Instant => after(now, minutes(-count));
const recipients = recipientsOf([ada, { ...bo, quietHours: null }]);
const names: Readonly<Record<string, string>> = { rowan: "Rowan", larch: "Larch", elder: "Elder" };

/** An escalation of one feeder's missing reports, raised now, of which nobody is notified yet. */
const silence = (id: string, different: Partial<Escalation> = {}): Escalation =>
  escalationFixture({
    ...{ feeder: id, fault: "feederSilent", topic: alarmTopic(id, "feederSilent"), subjectName: names[id] ?? id },
    ...{ title: `${names[id]}: no reports`, body: "No report for 3 minutes.", raisedAt: now, renewedAt: now },
    ...{ level: 0, levelAt: now, ...different },
  });

/** A feeder that reports each minute, with its last report ten minutes ago. */
const feeder = (id: string, different: Partial<GroupedFeeder> = {}): GroupedFeeder => ({
  ...{ id, name: names[id] ?? id, inService: true, lastReportAt: ago(10), reportEvery: minutes(1) },
  ...{ silentFrom: ago(7), escalation: null, ...different },
});
const yardOf = (feeders: readonly GroupedFeeder[], escalation: Escalation | null = null): GroupedYard => ({
  ...{ id: "alder", name: "Alder Croft", fault: "feederSilent", escalation, feeders },
});
const silent = (id: string, different: Partial<SilentFeeder> = {}): SilentFeeder => ({
  ...{ feeder: id, name: names[id] ?? id, topic: alarmTopic(id, "feederSilent"), lastReportAt: ago(10) },
  ...{ raisedAt: ago(7), title: `${names[id]}: no reports`, body: "No report for 3 minutes.", ...different },
});
const yardEscalation = (...silentFeeders: readonly SilentFeeder[]): Escalation =>
  silence("yard", {
    ...{ feeder: null, topic: yardTopic("alder", "feederSilent"), subjectName: "Alder Croft", silentFeeders },
    ...{ title: "Alder Croft: no reports from 2 of 3 feeders", body: "Both.", raisedAt: ago(7), renewedAt: ago(7) },
    ...{
      level: 1,
      levelAt: ago(7),
      recipientStates: [recipientStateFixture({ pushedAt: ago(7), displayedAt: ago(6) })],
    },
  });

const stored = (step: GroupStep, feeder: string | null): Escalation | null | undefined =>
  step.escalations.find(
    ({ topic }) =>
      topic === (feeder === null ? yardTopic("alder", "feederSilent") : alarmTopic(feeder, "feederSilent")),
  )?.escalation;
const texts = (step: GroupStep) => step.notifications.map(notificationText);

describe("feeders that stopped together", () => {
  const both = (last: number, reportEvery: Span = minutes(1)) =>
    advanceGrouped(
      yardOf([
        feeder("rowan", { escalation: silence("rowan"), lastReportAt: ago(60) }),
        feeder("larch", { escalation: silence("larch"), lastReportAt: ago(60 - last), reportEvery }),
      ]),
      recipients,
      now,
    );

  it("have their last reports within a quarter of an hour", () => {
    expect(stored(both(15), null)?.silentFeeders.map(({ name }) => name)).toEqual(["Rowan", "Larch"]);
    expect(stored(both(15.1), null)).toBeUndefined();
  });

  it("have them within the longer interval between reports of the two, where that is more", () => {
    expect(stored(both(30, minutes(30)), null)?.silentFeeders).toHaveLength(2);
    expect(stored(both(30.1, minutes(30)), null)).toBeUndefined();
  });

  it("have both reported at least once", () => {
    const never = feeder("larch", { escalation: silence("larch"), lastReportAt: null });
    expect(
      stored(advanceGrouped(yardOf([feeder("rowan", { escalation: silence("rowan") }), never]), recipients, now), null),
    ).toBeUndefined();
  });

  it("are the largest of several groups", () => {
    const at = (id: string, last: number) => feeder(id, { escalation: silence(id), lastReportAt: ago(last) });
    const step = advanceGrouped(yardOf([at("a", 200), at("b", 100), at("c", 95), at("d", 20)]), recipients, now);
    expect(stored(step, null)?.silentFeeders.map(({ feeder }) => feeder)).toEqual(["b", "c"]);
    expect(stored(step, "a")?.endedAt).toBeNull();
  });

  it("are only those in service", () => {
    const stopped = (id: string, inService: boolean) => feeder(id, { escalation: silence(id), inService });
    expect(
      stored(advanceGrouped(yardOf([stopped("rowan", true), stopped("larch", false)]), recipients, now), null),
    ).toBeUndefined();
  });

  it("are all of the yard, where the third one is in storage", () => {
    const step = advanceGrouped(
      yardOf([
        feeder("rowan", { escalation: silence("rowan") }),
        feeder("larch", { escalation: silence("larch") }),
        feeder("elder", { inService: false }),
      ]),
      recipients,
      now,
    );
    expect(stored(step, null)?.title).toBe("Alder Croft: no reports from both feeders");
  });

  it("take in another one that stopped near to any of them, by that one's interval when it reported", () => {
    const joined = (reportEvery: Span, yard: readonly string[] = ["rowan", "larch", "elder"]) =>
      stored(
        advanceGrouped(
          yardOf(
            [
              feeder("rowan", { reportEvery, lastReportAt: ago(60) }),
              feeder("larch", { lastReportAt: ago(90) }),
              feeder("elder", { escalation: silence("elder"), lastReportAt: ago(30) }),
            ].filter(({ id }) => yard.includes(id)),
            yardEscalation(silent("rowan", { lastReportAt: ago(60) }), silent("larch", { lastReportAt: ago(90) })),
          ),
          recipients,
          now,
        ),
        null,
      )?.silentFeeders.map(({ name }) => name);
    expect(joined(minutes(30))).toEqual(["Rowan", "Larch", "Elder"]);
    expect(joined(minutes(1))).toEqual(["Rowan", "Larch"]);
  });
});

describe("the yard's escalation", () => {
  it("continues with everybody's state: who was notified of one feeder isn't notified again", () => {
    const notified = (person: string, more: object) =>
      recipientStateFixture({ person, pushedAt: ago(5), displayedAt: ago(5), ...more });
    const one = silence("rowan", {
      ...{ level: 1, levelAt: ago(9), renewedAt: ago(9) },
      recipientStates: [
        notified("ada", {
          timesNotified: 2,
          firstNotifiedAt: ago(9),
          lastNotifiedAt: ago(6),
          reminderCountedFrom: ago(6),
          pushedAt: ago(6),
          displayedAt: ago(5),
          emailedAt: ago(8),
        }),
      ],
    });
    const other = silence("larch", {
      ...{ level: 2, levelAt: ago(3), renewedAt: ago(4) },
      recipientStates: [
        notified("ada", {
          timesNotified: 1,
          firstNotifiedAt: ago(4),
          lastNotifiedAt: ago(4),
          reminderCountedFrom: ago(4),
          pushedAt: ago(4),
          displayedAt: ago(2),
          emailedAt: null,
        }),
        notified("bo", {
          firstNotifiedAt: ago(3),
          lastNotifiedAt: ago(3),
          reminderCountedFrom: ago(3),
          pushedAt: ago(3),
          displayedAt: ago(3),
        }),
      ],
    });
    const step = advanceGrouped(
      yardOf([feeder("rowan", { escalation: one }), feeder("larch", { escalation: other })]),
      recipients,
      now,
    );
    expect(stored(step, null)).toMatchObject({
      ...{ level: 2, levelAt: ago(3), renewedAt: ago(9) },
      recipientStates: [
        {
          person: "ada",
          timesNotified: 2,
          firstNotifiedAt: ago(9),
          lastNotifiedAt: ago(4),
          reminderCountedFrom: ago(4),
          pushedAt: ago(4),
          displayedAt: ago(2),
          emailedAt: ago(8),
        },
        { person: "bo", timesNotified: 1, pushedAt: ago(3) },
      ],
    });
    expect(texts(step).filter((text) => !text.includes("softly"))).toEqual([]);
    expect([stored(step, "rowan"), stored(step, "larch")]).toEqual([null, null]);
  });

  it("counts a notification as lost only where all that were sent by its channel are", () => {
    const lostMarks = (first: object, second: object) => {
      const [a, b] = [first, second].map((more) => [recipientStateFixture({ pushedAt: ago(5), ...more })]);
      const step = advanceGrouped(
        yardOf([
          feeder("rowan", { escalation: silence("rowan", { level: 1, recipientStates: a ?? [] }) }),
          feeder("larch", { escalation: silence("larch", { level: 1, recipientStates: b ?? [] }) }),
        ]),
        // Without a phone or an address nothing is sent in this step.
        recipientsOf([{ ...ada, phoneCount: 0, email: null }]),
        now,
      );
      const state = stored(step, null)?.recipientStates[0];
      return [state?.pushLostAt ?? null, state?.emailLostAt ?? null];
    };
    expect(lostMarks({ pushLostAt: ago(4) }, { pushLostAt: ago(2) })).toEqual([ago(2), null]);
    expect(lostMarks({ pushLostAt: ago(4) }, {})).toEqual([null, null]);
    expect(lostMarks({ pushLostAt: ago(4) }, { pushedAt: null, emailedAt: ago(3), emailLostAt: ago(1) })).toEqual([
      ago(4),
      ago(1),
    ]);
  });

  it("has to be acknowledged again where one feeder's was acknowledged alone", () => {
    const acknowledged = silence("rowan", {
      ...{
        level: 1,
        levelAt: ago(9),
        acknowledgedBy: "Ada",
        recipientStates: [recipientStateFixture({ pushedAt: ago(9) })],
      },
    });
    const step = advanceGrouped(
      yardOf([feeder("rowan", { escalation: acknowledged }), feeder("larch", { escalation: silence("larch") })]),
      recipients,
      now,
    );
    expect(stored(step, null)).toMatchObject({ acknowledgedBy: null, level: 1, levelAt: now });
    expect(texts(step)).toContain("ada push Alder Croft: no reports from both feeders");
  });

  it("becomes the last feeder's own, with that one's text, when the others report again", () => {
    const event: AlarmEvent = { kind: "returned", fault: "feederSilent", at: now, title: "Larch: back", body: "Back." };
    const yard = yardOf(
      [feeder("rowan"), feeder("larch"), feeder("elder")],
      yardEscalation(silent("rowan"), silent("larch")),
    );
    const step = handleGroupedEvent(yard, { feeder: "larch", event }, recipients, now);
    expect(stored(step, "rowan")).toMatchObject({
      ...{ feeder: "rowan", subjectName: "Rowan", topic: alarmTopic("rowan", "feederSilent"), raisedAt: ago(7) },
      ...{ title: "Rowan: no reports", body: "No report for 3 minutes.", silentFeeders: [], endedAt: null, level: 1 },
      recipientStates: [{ person: "ada", timesNotified: 1 }],
    });
    expect(stored(step, null)).toMatchObject({ endedAt: now, silentFeeders: [], news: null });
  });

  it("covers a new raise or a higher priority of one of its feeders", () => {
    const yard = yardOf([feeder("rowan"), feeder("larch")], yardEscalation(silent("rowan"), silent("larch")));
    for (const event of [
      { ...{ kind: "raised", at: now, sameEpisode: false, title: "Rowan: no reports", body: "None." } },
      { ...{ kind: "worsened", at: now, raisedAt: ago(7), title: "Rowan: no reports", body: "None." } },
    ]) {
      const of = { feeder: "rowan", event: { ...event, fault: "feederSilent", priority: "urgent" } as AlarmEvent };
      const step = handleGroupedEvent(yard, of, recipients, now);
      expect(texts(step)).toEqual([]);
      expect(stored(step, null)?.silentFeeders).toHaveLength(2);
      expect(stored(step, "rowan")).toBeUndefined();
    }
  });

  it("ends with all of them, with the news that all report again", () => {
    const event: AlarmEvent = { kind: "returned", fault: "feederSilent", at: now, title: "Rowan: back", body: "Back." };
    const step = handleGroupedEvent(
      yardOf([feeder("rowan")], yardEscalation(silent("rowan"))),
      { feeder: "rowan", event },
      recipients,
      now,
    );
    expect(stored(step, null)).toMatchObject({
      endedAt: now,
      silentFeeders: [],
      news: allReportingNews("Alder Croft"),
    });
    expect(texts(step)).toEqual(["ada push softly Alder Croft: all report again"]);
  });

  it("is found again by a feeder that stops within the hour: it resumes under its own name, without a second sound", () => {
    const ended: Escalation = { ...yardEscalation(), endedAt: ago(5), silentFeeders: [] };
    const event: AlarmEvent = {
      ...{ kind: "raised", fault: "feederSilent", priority: "urgent", at: now, sameEpisode: true },
      ...{ title: "Larch: no reports", body: "No report for 3 minutes." },
    };
    const step = handleGroupedEvent(
      yardOf([feeder("larch"), feeder("rowan", { silentFrom: null })], ended),
      { feeder: "larch", event },
      recipients,
      now,
    );
    expect(stored(step, "larch")).toMatchObject({
      ...{
        feeder: "larch",
        subjectName: "Larch",
        topic: alarmTopic("larch", "feederSilent"),
        raisedAt: now,
        endedAt: null,
      },
      recipientStates: [{ person: "ada", timesNotified: 1 }],
    });
    expect(texts(step)).toEqual(["ada push softly Larch: no reports"]);
  });
});

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
