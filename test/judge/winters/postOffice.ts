import { topicOf } from "../../../server/domain/alarms/notices.ts";
import type { FaultKind } from "../../../server/domain/faults.ts";
import type { FeederState } from "../../../server/domain/feeder.ts";
import type { Instant } from "../../../server/domain/instant.ts";
import { silentFrom } from "../../../server/domain/silence/feederSilence.ts";
import { advanceCall, shownBy } from "../../../server/domain/telling/advanceCall.ts";
import type { Call, CallWord, Telling } from "../../../server/domain/telling/call.ts";
import { type GroupedYard, yardTopic } from "../../../server/domain/telling/group.ts";
import {
  advanceGrouped,
  type GroupStep,
  hearGrouped,
  isGrouped,
} from "../../../server/domain/telling/groupedAlarms.ts";
import { hear } from "../../../server/domain/telling/hear.ts";
import { circle } from "./household.ts";

/** A feeder as far as telling looks at it. */
export interface Told {
  readonly id: string;
  readonly state: FeederState;
  readonly lastHeardAt: Instant | null;
}

/** One ring, mail or quiet word, with the call as it is after it. */
export interface Word {
  readonly telling: Telling;
  readonly call: Call | null;
}

const yardId = "alder-croft";

/**
 * Keeps a yard's calls and has the server's own rules decide who is told: what flows/calls.ts does with a database, in memory. A
 * word goes out the moment it is written.
 */
export class PostOffice {
  readonly #calls = new Map<string, { readonly call: Call; readonly nextAt: Instant | null }>();
  readonly #feeders: () => readonly Told[];

  constructor(feeders: () => readonly Told[]) {
    this.#feeders = feeders;
  }

  hear(feeder: Told, word: CallWord, now: Instant): readonly Word[] {
    if (isGrouped(word.fault))
      return this.#keepGroup(hearGrouped(this.#grouped(word.fault), { feeder: feeder.id, word }, circle, now));
    const topic = topicOf(feeder.id, word.fault);
    const of = { yard: yardId, feeder: feeder.id, topic, name: feeder.state.settings.name };
    return this.#keep(topic, hear(this.call(topic), word, of, circle, now));
  }

  /** When the next call comes due; null while none does. */
  get dueAt(): Instant | null {
    let soonest: Instant | null = null;
    for (const { nextAt } of this.#calls.values())
      if (nextAt !== null && (soonest === null || nextAt < soonest)) soonest = nextAt;
    return soonest;
  }

  advance(now: Instant): readonly Word[] {
    const due = [...this.#calls].filter(([, { nextAt }]) => nextAt !== null && nextAt <= now).map(([topic]) => topic);
    return due.flatMap((topic) => {
      const call = this.call(topic);
      if (call === null) return [];
      if (isGrouped(call.fault)) return this.#keepGroup(advanceGrouped(this.#grouped(call.fault), circle, now));
      return this.#keep(topic, advanceCall(call, circle, now));
    });
  }

  shown(topic: string, person: string, at: Instant): void {
    const known = this.#calls.get(topic);
    if (known !== undefined) this.#calls.set(topic, { call: shownBy(known.call, person, at), nextAt: at });
  }

  call = (topic: string): Call | null => this.#calls.get(topic)?.call ?? null;

  #grouped(fault: FaultKind): GroupedYard {
    return {
      id: yardId,
      name: "Alder Croft",
      fault,
      call: this.call(yardTopic(yardId, fault)),
      feeders: this.#feeders().map(({ id, state: { settings, link }, lastHeardAt }) => ({
        id,
        name: settings.name,
        inService: true,
        lastHeardAt,
        reportEvery: settings.reportEvery,
        silentFrom: silentFrom(link, settings),
        call: this.call(topicOf(id, fault)),
      })),
    };
  }

  #keep(topic: string, step: { call: Call | null; tellings: readonly Telling[]; nextAt: Instant | null }): Word[] {
    if (step.call === null) this.#calls.delete(topic);
    else this.#calls.set(topic, { call: step.call, nextAt: step.nextAt });
    return step.tellings.map((telling) => ({ telling, call: this.call(telling.notice.topic) }));
  }

  #keepGroup({ calls, tellings }: GroupStep): Word[] {
    for (const { topic, call, nextAt } of calls) {
      if (call === null) this.#calls.delete(topic);
      else this.#calls.set(topic, { call, nextAt });
    }
    return tellings.map((telling) => ({ telling, call: this.call(telling.notice.topic) }));
  }
}
