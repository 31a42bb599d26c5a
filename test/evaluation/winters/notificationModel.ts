import { alarmTopic } from "../../../server/domain/alarms/alarmTopic.ts";
import type { FaultKind } from "../../../server/domain/faults.ts";
import type { FeederState } from "../../../server/domain/feeder.ts";
import type { Instant } from "../../../server/domain/instant.ts";
import { advanceEscalation, recordDisplay } from "../../../server/domain/notification/advanceEscalation.ts";
import { type GroupedYard, yardTopic } from "../../../server/domain/notification/alarmGroup.ts";
import type {
  AlarmEvent,
  Escalation,
  EscalationStep,
  OutgoingNotification,
} from "../../../server/domain/notification/escalation.ts";
import {
  advanceGrouped,
  type GroupStep,
  handleGroupedEvent,
  isGrouped,
} from "../../../server/domain/notification/groupedAlarms.ts";
import { handleAlarmEvent } from "../../../server/domain/notification/handleAlarmEvent.ts";
import { silenceBeginsAt } from "../../../server/domain/silence/feederSilence.ts";
import { recipients } from "./keeperModel.ts";

/** What notification needs to know of a feeder. */
export interface NotifiedFeeder {
  readonly id: string;
  readonly state: FeederState;
  readonly lastHeardAt: Instant | null;
}

/** One push, silent push or e-mail, with the escalation after it. */
export interface SentNotification {
  readonly notification: OutgoingNotification;
  readonly escalation: Escalation | null;
}

const yardId = "alder-croft";

/**
 * Stores a yard's escalations and has the server's own rules decide who is notified: what flows/escalations.ts does with a database, in memory. A
 * notification is sent when it is written.
 */
export class NotificationModel {
  readonly #escalations = new Map<string, { readonly escalation: Escalation; readonly nextAt: Instant | null }>();
  readonly #feeders: () => readonly NotifiedFeeder[];

  constructor(feeders: () => readonly NotifiedFeeder[]) {
    this.#feeders = feeders;
  }

  handle(feeder: NotifiedFeeder, event: AlarmEvent, now: Instant): readonly SentNotification[] {
    if (isGrouped(event.fault))
      return this.#keepGroup(
        handleGroupedEvent(this.#grouped(event.fault), { feeder: feeder.id, event }, recipients, now),
      );
    const topic = alarmTopic(feeder.id, event.fault);
    const of = { yard: yardId, feeder: feeder.id, topic, name: feeder.state.settings.name };
    return this.#keep(topic, handleAlarmEvent(this.escalation(topic), event, of, recipients, now));
  }

  /** When the next escalation is due; null while none is. */
  get dueAt(): Instant | null {
    let soonest: Instant | null = null;
    for (const { nextAt } of this.#escalations.values())
      if (nextAt !== null && (soonest === null || nextAt < soonest)) soonest = nextAt;
    return soonest;
  }

  advance(now: Instant): readonly SentNotification[] {
    const due = [...this.#escalations]
      .filter(([, { nextAt }]) => nextAt !== null && nextAt <= now)
      .map(([topic]) => topic);
    return due.flatMap((topic) => {
      const escalation = this.escalation(topic);
      if (escalation === null) return [];
      if (isGrouped(escalation.fault))
        return this.#keepGroup(advanceGrouped(this.#grouped(escalation.fault), recipients, now));
      return this.#keep(topic, advanceEscalation(escalation, recipients, now));
    });
  }

  shown(topic: string, person: string, at: Instant): void {
    const known = this.#escalations.get(topic);
    if (known !== undefined)
      this.#escalations.set(topic, { escalation: recordDisplay(known.escalation, person, at), nextAt: at });
  }

  escalation = (topic: string): Escalation | null => this.#escalations.get(topic)?.escalation ?? null;

  #grouped(fault: FaultKind): GroupedYard {
    return {
      id: yardId,
      name: "Alder Croft",
      fault,
      escalation: this.escalation(yardTopic(yardId, fault)),
      feeders: this.#feeders().map(({ id, state: { settings, reporting }, lastHeardAt }) => ({
        id,
        name: settings.name,
        inService: true,
        lastReportAt: lastHeardAt,
        reportEvery: settings.reportEvery,
        silentFrom: silenceBeginsAt(reporting, settings),
        escalation: this.escalation(alarmTopic(id, fault)),
      })),
    };
  }

  #keep(topic: string, step: EscalationStep): SentNotification[] {
    if (step.escalation === null) this.#escalations.delete(topic);
    else this.#escalations.set(topic, { escalation: step.escalation, nextAt: step.nextAt });
    return step.notifications.map((notification) => ({
      notification,
      escalation: this.escalation(notification.content.topic),
    }));
  }

  #keepGroup({ escalations, notifications }: GroupStep): SentNotification[] {
    for (const { topic, escalation, nextAt } of escalations) {
      if (escalation === null) this.#escalations.delete(topic);
      else this.#escalations.set(topic, { escalation: escalation, nextAt });
    }
    return notifications.map((notification) => ({
      notification,
      escalation: this.escalation(notification.content.topic),
    }));
  }
}
