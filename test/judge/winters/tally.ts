import type { FaultKind } from "../../../server/domain/faults.ts";
import { type Instant, inDays, inHours, minutes, type Span } from "../../../server/domain/instant.ts";
import { mostWithin } from "../../../server/domain/rates/load.ts";
import type { Call } from "../../../server/domain/telling/call.ts";
import type { Mishap } from "../../simulator/plot.ts";
import type { Incident } from "./misfortune.ts";

/** What one winter came to, as plain numbers that can be added up and sent from process to process. */
export interface WinterFigures {
  readonly feederWeeks: number;
  readonly calls: readonly CallFigure[];
  readonly rings: number; // all of them, each person's, reminders among them
  readonly reminders: number;
  readonly ringsThatNeeded: number;
  readonly corrections: number; // quiet words: set right, taken back
  readonly mails: number;
  readonly goodNewsMails: number;
  readonly worstTenMinutes: number; // most rings to one person
  readonly incidents: readonly IncidentFigure[];
  readonly absences: number;
}

/** One alarm that rang, once however often and for whomever it rang. */
export interface CallFigure {
  readonly fault: FaultKind;
  readonly urgent: boolean;
  readonly wrong: "hand" | "itself" | null; // when it rang first
}

export interface IncidentFigure {
  readonly mishap: Mishap;
  readonly yard: boolean;
  readonly hoursUntilTold: number | null; // null: nobody was rung about it
  readonly hoursItStood: number;
}

interface Ring {
  readonly call: Call;
  readonly person: string;
  readonly at: Instant;
  readonly reminder: boolean;
  readonly wrong: CallFigure["wrong"];
}

export class WinterTally {
  readonly #feederWeeks: number;
  readonly #to: Instant;
  readonly #incidents: readonly Incident[];
  readonly #calls = new Map<string, CallFigure>();
  readonly #ringsOf = new Map<string, Instant[]>();
  #counts = { rings: 0, reminders: 0, ringsThatNeeded: 0, corrections: 0, mails: 0, goodNewsMails: 0, absences: 0 };

  constructor(feeders: number, from: Instant, to: Instant, incidents: readonly Incident[]) {
    this.#feederWeeks = (feeders * inDays((to - from) as Span)) / 7;
    this.#to = to;
    this.#incidents = incidents;
  }

  rang({ call, person, at, reminder, wrong }: Ring): void {
    // A call that rings anew, since it was raised again or grew graver, is another alarm to whoever hears it.
    const key = `${call.topic} ${call.freshAt}`;
    const { fault } = call;
    if (!this.#calls.has(key)) this.#calls.set(key, { fault, urgent: call.priority === "urgent", wrong });
    this.#counts.rings += 1;
    if (reminder) this.#counts.reminders += 1;
    if (wrong !== null) this.#counts.ringsThatNeeded += 1;
    const own = this.#ringsOf.get(person) ?? [];
    own.push(at);
    this.#ringsOf.set(person, own);
  }

  corrected(): void {
    this.#counts.corrections += 1;
  }

  mailed(goodNews: boolean): void {
    if (goodNews) this.#counts.goodNewsMails += 1;
    else this.#counts.mails += 1;
  }

  wentAway(): void {
    this.#counts.absences += 1;
  }

  figures(): WinterFigures {
    return {
      ...this.#counts,
      feederWeeks: this.#feederWeeks,
      calls: [...this.#calls.values()],
      worstTenMinutes: Math.max(0, ...[...this.#ringsOf.values()].map((rings) => mostWithin(rings, minutes(10)))),
      incidents: this.#incidents.flatMap(({ mischance, beganAt, toldAt, endedAt }) =>
        beganAt === null
          ? []
          : [
              {
                mishap: mischance.mishap,
                yard: mischance.where === "yard",
                hoursUntilTold: toldAt === null ? null : inHours((toldAt - beganAt) as Span),
                hoursItStood: inHours(((endedAt ?? this.#to) - beganAt) as Span),
              },
            ],
      ),
    };
  }
}
