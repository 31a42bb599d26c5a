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
  readonly corrections: number; // quiet words: set right, taken back
  readonly emails: number;
  readonly allClearEmails: number;
  readonly worstTenMinutes: number; // most rings to one person
  readonly incidents: readonly IncidentFigure[];
  readonly absences: number;
}

/** One alarm that rang, once however often and for whomever it rang. */
export interface EscalationFigure {
  readonly fault: FaultKind;
  readonly urgent: boolean;
  readonly wrong: "hand" | "itself" | null; // when it rang first
}

export interface IncidentFigure {
  readonly mishap: Disturbance;
  readonly yard: boolean;
  readonly hoursUntilTold: number | null; // null: nobody was rung about it
  readonly hoursItStood: number;
}

interface Ring {
  readonly call: Escalation;
  readonly person: string;
  readonly at: Instant;
  readonly reminder: boolean;
  readonly wrong: EscalationFigure["wrong"];
}

export class WinterCounter {
  readonly #feederWeeks: number;
  readonly #to: Instant;
  readonly #incidents: readonly Incident[];
  readonly #calls = new Map<string, EscalationFigure>();
  readonly #ringsOf = new Map<string, Instant[]>();
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

  rang({ call, person, at, reminder, wrong }: Ring): void {
    // A call that rings anew, since it was raised again or grew graver, is another alarm to whoever hears it.
    const key = `${call.topic} ${call.renewedAt}`;
    const { fault } = call;
    if (!this.#calls.has(key)) this.#calls.set(key, { fault, urgent: call.priority === "urgent", wrong });
    this.#counts.notifications += 1;
    if (reminder) this.#counts.reminders += 1;
    if (wrong !== null) this.#counts.neededNotifications += 1;
    const own = this.#ringsOf.get(person) ?? [];
    own.push(at);
    this.#ringsOf.set(person, own);
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
      escalations: [...this.#calls.values()],
      worstTenMinutes: Math.max(
        0,
        ...[...this.#ringsOf.values()].map((own) => worstTenMinutes(own.map((raisedAt) => ({ raisedAt }))).length),
      ),
      incidents: this.#incidents.flatMap(({ kind, beganAt, notifiedAt, endedAt }) =>
        beganAt === null
          ? []
          : [
              {
                mishap: kind.mishap,
                yard: kind.where === "yard",
                hoursUntilTold: notifiedAt === null ? null : inHours((notifiedAt - beganAt) as Span),
                hoursItStood: inHours(((endedAt ?? this.#to) - beganAt) as Span),
              },
            ],
      ),
    };
  }
}
