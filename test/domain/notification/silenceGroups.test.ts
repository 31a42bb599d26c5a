import { describe, expect, it } from "vitest";
import { alarmTopic } from "../../../server/domain/alarms/alarmTopic.ts";
import { minutes, type Span } from "../../../server/domain/instant.ts";
import { yardTopic } from "../../../server/domain/notification/alarmGroup.ts";
import type { AlarmEvent, Escalation, SilentFeeder } from "../../../server/domain/notification/escalation.ts";
import {
  advanceGrouped,
  type GroupStep,
  handleGroupedEvent,
} from "../../../server/domain/notification/groupedAlarms.ts";
import { allReportingNews } from "../../../server/domain/notification/groupedText.ts";
import { recipientStateFixture } from "./escalationFixture.ts";
import { ada, notificationText, recipientsOf } from "./escalationScenario.ts";
import { ago, feeder, now, recipients, silence, silent, yardOf } from "./silentYardFixture.ts";

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
