import { worstTenMinutes } from "../../../server/domain/alarmRates/rates.ts";
import type { FaultKind } from "../../../server/domain/faults.ts";
import { type Instant, inDays, inHours, type Span } from "../../../server/domain/instant.ts";
import type { Escalation } from "../../../server/domain/notification/escalation.ts";
import type { Disturbance } from "../../simulator/plot.ts";
import type { Incident } from "./incidents.ts";

/** What one winter came to, as plain numbers that can be added up and sent from process to process. */
export interface WinterFigures {
  readonly feederWeeks: number;
  readonly escalations: readonly EscalationFigure[];
  readonly notifications: number; // all of them, each person's, reminders among them
  readonly reminders: number;
  readonly neededNotifications: number;
  readonly corrections: number; // silent ones: corrected, withdrawn
  readonly emails: number;
  readonly allClearEmails: number;
  readonly worstTenMinutes: number; // most notifications of one person
  readonly incidents: readonly IncidentFigure[];
  readonly absences: number;
}

/** One alarm that somebody was notified of, once however often and whoever. */
export interface EscalationFigure {
  readonly fault: FaultKind;
  readonly urgent: boolean;
  readonly wrong: "hand" | "itself" | null; // at the first notification
}

export interface IncidentFigure {
  readonly mishap: Disturbance;
  readonly yard: boolean;
  readonly hoursUntilNotified: number | null; // null: nobody was notified of it
  readonly hoursItStood: number;
}

interface CountedNotification {
  readonly escalation: Escalation;
  readonly person: string;
  readonly at: Instant;
  readonly reminder: boolean;
  readonly wrong: EscalationFigure["wrong"];
}

export class WinterCounter {
  readonly #feederWeeks: number;
  readonly #to: Instant;
  readonly #incidents: readonly Incident[];
  readonly #escalations = new Map<string, EscalationFigure>();
  readonly #notifiedAt = new Map<string, Instant[]>();
  #counts = {
    notifications: 0,
    reminders: 0,
    neededNotifications: 0,
    corrections: 0,
    emails: 0,
    allClearEmails: 0,
    absences: 0,
  };

  constructor(feeders: number, from: Instant, to: Instant, incidents: readonly Incident[]) {
    this.#feederWeeks = (feeders * inDays((to - from) as Span)) / 7;
    this.#to = to;
    this.#incidents = incidents;
  }

  notified({ escalation, person, at, reminder, wrong }: CountedNotification): void {
    // One that notifies again, since it was raised again or its priority became higher, is another alarm to its recipients.
    const key = `${escalation.topic} ${escalation.renewedAt}`;
    const { fault } = escalation;
    if (!this.#escalations.has(key))
      this.#escalations.set(key, { fault, urgent: escalation.priority === "urgent", wrong });
    this.#counts.notifications += 1;
    if (reminder) this.#counts.reminders += 1;
    if (wrong !== null) this.#counts.neededNotifications += 1;
    const own = this.#notifiedAt.get(person) ?? [];
    own.push(at);
    this.#notifiedAt.set(person, own);
  }

  corrected(): void {
    this.#counts.corrections += 1;
  }

  mailed(goodNews: boolean): void {
    if (goodNews) this.#counts.allClearEmails += 1;
    else this.#counts.emails += 1;
  }

  wentAway(): void {
    this.#counts.absences += 1;
  }

  figures(): WinterFigures {
    return {
      ...this.#counts,
      feederWeeks: this.#feederWeeks,
      escalations: [...this.#escalations.values()],
      worstTenMinutes: Math.max(
        0,
        ...[...this.#notifiedAt.values()].map((own) => worstTenMinutes(own.map((raisedAt) => ({ raisedAt }))).length),
      ),
      incidents: this.#incidents.flatMap(({ kind, beganAt, notifiedAt, endedAt }) =>
        beganAt === null
          ? []
          : [
              {
                mishap: kind.mishap,
                yard: kind.where === "yard",
                hoursUntilNotified: notifiedAt === null ? null : inHours((notifiedAt - beganAt) as Span),
                hoursItStood: inHours(((endedAt ?? this.#to) - beganAt) as Span),
              },
            ],
      ),
    };
  }
}
