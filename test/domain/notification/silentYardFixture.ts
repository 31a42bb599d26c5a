import { alarmTopic } from "../../../server/domain/alarms/alarmTopic.ts";
import { after, type Instant, instantOf, minutes } from "../../../server/domain/instant.ts";
import type { GroupedFeeder, GroupedYard } from "../../../server/domain/notification/alarmGroup.ts";
import type { Escalation, SilentFeeder } from "../../../server/domain/notification/escalation.ts";
import { escalationFixture } from "./escalationFixture.ts";
import { ada, bo, recipientsOf } from "./escalationScenario.ts";

/** A yard whose feeders stopped reporting, at one moment. */

export const now = instantOf("2026-12-01T11:00:00Z");
export const ago = (count: number): Instant => after(now, minutes(-count));
export const recipients = recipientsOf([ada, { ...bo, quietHours: null }]);
export const names: Readonly<Record<string, string>> = { rowan: "Rowan", larch: "Larch", elder: "Elder" };

/** An escalation of one feeder's missing reports, raised now, of which nobody is notified yet. */
export const silence = (id: string, different: Partial<Escalation> = {}): Escalation =>
  escalationFixture({
    ...{ feeder: id, fault: "feederSilent", topic: alarmTopic(id, "feederSilent"), subjectName: names[id] ?? id },
    ...{ title: `${names[id]}: no reports`, body: "No report for 3 minutes.", raisedAt: now, renewedAt: now },
    ...{ level: 0, levelAt: now, ...different },
  });

/** A feeder that reports each minute, with its last report ten minutes ago. */
export const feeder = (id: string, different: Partial<GroupedFeeder> = {}): GroupedFeeder => ({
  ...{ id, name: names[id] ?? id, inService: true, lastReportAt: ago(10), reportEvery: minutes(1) },
  ...{ silentFrom: ago(7), escalation: null, ...different },
});
export const yardOf = (feeders: readonly GroupedFeeder[], escalation: Escalation | null = null): GroupedYard => ({
  ...{ id: "alder", name: "Alder Croft", fault: "feederSilent", escalation, feeders },
});
export const silent = (id: string, different: Partial<SilentFeeder> = {}): SilentFeeder => ({
  ...{ feeder: id, name: names[id] ?? id, topic: alarmTopic(id, "feederSilent"), lastReportAt: ago(10) },
  ...{ raisedAt: ago(7), title: `${names[id]}: no reports`, body: "No report for 3 minutes.", ...different },
});
