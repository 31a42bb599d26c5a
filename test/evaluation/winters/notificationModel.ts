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

/** A feeder as far as telling looks at it. */
export interface NotifiedFeeder {
  readonly id: string;
  readonly state: FeederState;
  readonly lastHeardAt: Instant | null;
}

/** One ring, mail or quiet word, with the call as it is after it. */
export interface SentNotification {
  readonly telling: OutgoingNotification;
  readonly call: Escalation | null;
}

const yardId = "alder-croft";

/**
 * Keeps a yard's calls and has the server's own rules decide who is told: what flows/escalations.ts does with a database, in memory. A
 * word goes out the moment it is written.
 */
export class NotificationModel {
  readonly #calls = new Map<string, { readonly call: Escalation; readonly nextAt: Instant | null }>();
  readonly #feeders: () => readonly NotifiedFeeder[];

  constructor(feeders: () => readonly NotifiedFeeder[]) {
    this.#feeders = feeders;
  }

  hear(feeder: NotifiedFeeder, word: AlarmEvent, now: Instant): readonly SentNotification[] {
    if (isGrouped(word.fault))
      return this.#keepGroup(
        handleGroupedEvent(this.#grouped(word.fault), { feeder: feeder.id, event: word }, recipients, now),
      );
    const topic = alarmTopic(feeder.id, word.fault);
    const of = { yard: yardId, feeder: feeder.id, topic, name: feeder.state.settings.name };
    return this.#keep(topic, handleAlarmEvent(this.call(topic), word, of, recipients, now));
  }

  /** When the next call comes due; null while none does. */
  get dueAt(): Instant | null {
    let soonest: Instant | null = null;
    for (const { nextAt } of this.#calls.values())
      if (nextAt !== null && (soonest === null || nextAt < soonest)) soonest = nextAt;
    return soonest;
  }

  advance(now: Instant): readonly SentNotification[] {
    const due = [...this.#calls].filter(([, { nextAt }]) => nextAt !== null && nextAt <= now).map(([topic]) => topic);
    return due.flatMap((topic) => {
      const call = this.call(topic);
      if (call === null) return [];
      if (isGrouped(call.fault)) return this.#keepGroup(advanceGrouped(this.#grouped(call.fault), recipients, now));
      return this.#keep(topic, advanceEscalation(call, recipients, now));
    });
  }

  shown(topic: string, person: string, at: Instant): void {
    const known = this.#calls.get(topic);
    if (known !== undefined) this.#calls.set(topic, { call: recordDisplay(known.call, person, at), nextAt: at });
  }

  call = (topic: string): Escalation | null => this.#calls.get(topic)?.call ?? null;

  #grouped(fault: FaultKind): GroupedYard {
    return {
      id: yardId,
      name: "Alder Croft",
      fault,
      escalation: this.call(yardTopic(yardId, fault)),
      feeders: this.#feeders().map(({ id, state: { settings, reporting }, lastHeardAt }) => ({
        id,
        name: settings.name,
        inService: true,
        lastReportAt: lastHeardAt,
        reportEvery: settings.reportEvery,
        silentFrom: silenceBeginsAt(reporting, settings),
        escalation: this.call(alarmTopic(id, fault)),
      })),
    };
  }

  #keep(topic: string, step: EscalationStep): SentNotification[] {
    if (step.escalation === null) this.#calls.delete(topic);
    else this.#calls.set(topic, { call: step.escalation, nextAt: step.nextAt });
    return step.notifications.map((telling) => ({ telling, call: this.call(telling.content.topic) }));
  }

  #keepGroup({ escalations, notifications }: GroupStep): SentNotification[] {
    for (const { topic, escalation, nextAt } of escalations) {
      if (escalation === null) this.#calls.delete(topic);
      else this.#calls.set(topic, { call: escalation, nextAt });
    }
    return notifications.map((telling) => ({ telling, call: this.call(telling.content.topic) }));
  }
}
