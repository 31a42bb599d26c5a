import type { FaultKind } from "../faults.ts";
import { after, hours, type Instant } from "../instant.ts";
import { advanceCall, isStanding } from "./advanceCall.ts";
import type { Call, CalledOf, CallWord, Circle, Telling } from "./call.ts";
import { corrections, heardWord } from "./hear.ts";
import type { StoredCall, YardStep } from "./yardSilence.ts";

/**
 * What the weather does to one feeder of a yard it does to the others in the same night. The first one's call speaks for them:
 * it names them as they join, without a sound, and when its own alarm is over the next one goes on in its place. Ten feeders
 * under one sky would else ring ten times within minutes, for one walk with one torch.
 */
export const underOneSky: ReadonlySet<FaultKind> = new Set<FaultKind>(["iceLock"]);

/** One night, from dusk to the morning after: what comes later is another night's. Our choice. */
const oneNight = hours(18);

/** How often a call that another speaks for looks whether that one is still there: its feeder may have been removed. */
const lookAgain = hours(6);

/** What is stored of one feeder of the yard under the topic of this fault. */
export interface SkyCall {
  readonly topic: string;
  readonly feeder: string;
  readonly call: Call | null;
}

/** @param calls of all feeders of the yard, the one that the word is of among them */
export function hearUnderOneSky(
  calls: readonly SkyCall[],
  word: CallWord,
  of: CalledOf,
  circle: Circle,
  now: Instant,
): YardStep {
  const sky = new Sky(calls);
  const before = sky.call(of.topic);
  const heard = heardWord(before, word, of, circle, now);
  sky.put(of.topic, heard.call);
  sky.tellings.push(...heard.tellings);
  if (heard.newWords && heard.call !== null) sky.setRight(heard.call, circle);
  if (!isStanding(heard.call)) leave(sky, before, circle);
  join(sky, of.topic, circle);
  return sky.step(circle, now);
}

/** Time has come to one of them. */
export function advanceUnderOneSky(calls: readonly SkyCall[], topic: string, circle: Circle, now: Instant): YardStep {
  const sky = new Sky(calls);
  const call = sky.call(topic);
  if (call !== null) sky.put(topic, call); // it is due, whatever else happens
  if (call !== null && call.spokenForBy !== null && !isStanding(sky.call(call.spokenForBy))) {
    sky.put(topic, { ...call, spokenForBy: null }); // its speaker is gone
    join(sky, topic, circle);
  }
  return sky.step(circle, now);
}

/** What has not rung yet is told by the one that has, or that is about to. */
function join(sky: Sky, topic: string, circle: Circle): void {
  const call = sky.call(topic);
  const isOpen = isStanding(call) && call.acknowledgedBy === null && call.spokenForBy === null;
  if (!isOpen || call.priority === "urgent" || call.told.length > 0 || call.alsoAt.length > 0) return;
  const speaker = sky.standing().find((other) => other.topic !== topic && maySpeakFor(other, call));
  if (speaker === undefined) return;
  sky.put(topic, { ...call, spokenForBy: speaker.topic });
  const named = { ...speaker, alsoAt: [...speaker.alsoAt.filter((name) => name !== call.name), call.name] };
  sky.put(speaker.topic, named);
  if (named.acknowledgedBy === null) sky.setRight(named, circle); // whoever has seen it knows of the night
}

const maySpeakFor = (speaker: Call, { raisedAt }: Call): boolean =>
  speaker.spokenForBy === null && raisedAt <= after(speaker.raisedAt, oneNight);

/** A call has ended: who is spoken for by it must not fall silent with it. */
function leave(sky: Sky, ended: Call | null, circle: Circle): void {
  if (ended === null) return;
  const speaker = ended.spokenForBy === null ? null : sky.call(ended.spokenForBy);
  if (speaker !== null)
    sky.put(speaker.topic, { ...speaker, alsoAt: speaker.alsoAt.filter((name) => name !== ended.name) });
  const [next, ...rest] = sky
    .standing()
    .filter(({ spokenForBy, acknowledgedBy }) => spokenForBy === ended.topic && acknowledgedBy === null);
  if (next === undefined) return;
  const { turn, turnAt, told, acknowledgedBy } = ended;
  const freshAt = told.length === 0 ? next.freshAt : ended.freshAt; // what has rung needs no ring of its own
  const heir: Call = {
    ...next,
    ...{ turn, turnAt, told, acknowledgedBy, freshAt, spokenForBy: null },
    alsoAt: rest.map(({ name }) => name),
  };
  sky.put(heir.topic, heir);
  for (const one of rest) sky.put(one.topic, { ...one, spokenForBy: heir.topic });
  if (heir.acknowledgedBy === null) sky.setRight(heir, circle);
}

/** The yard's calls of this fault while one step is made, and what has come of it so far. */
class Sky {
  readonly tellings: Telling[] = [];
  readonly #calls: Map<string, SkyCall>;
  readonly #changed = new Set<string>();

  constructor(calls: readonly SkyCall[]) {
    this.#calls = new Map(calls.map((one) => [one.topic, one]));
  }

  call = (topic: string): Call | null => this.#calls.get(topic)?.call ?? null;

  put(topic: string, call: Call | null): void {
    const known = this.#calls.get(topic);
    if (known === undefined) throw new RangeError(`expected a topic of one of the yard's feeders, got ${topic}`);
    this.#calls.set(topic, { ...known, call });
    this.#changed.add(topic);
  }

  /** The longest standing first. */
  standing = (): Call[] =>
    [...this.#calls.values()]
      .flatMap(({ call }) => (isStanding(call) ? [call] : []))
      .sort((a, b) => a.raisedAt - b.raisedAt);

  /** Newer words on every screen that it stands on, without a sound. */
  setRight(call: Call, circle: Circle): void {
    this.tellings.push(...corrections({ call, tellings: [], nextAt: null }, circle));
  }

  step(circle: Circle, now: Instant): YardStep {
    const calls: StoredCall[] = [];
    const rung: Telling[] = [];
    for (const topic of this.#changed) {
      const { feeder, call } = this.#calls.get(topic) as SkyCall;
      if (call === null) {
        calls.push({ topic, feeder, call, nextAt: null });
      } else if (isStanding(call) && call.spokenForBy !== null) {
        calls.push({ topic, feeder, call, nextAt: after(now, lookAgain) });
      } else {
        const step = advanceCall(call, circle, now);
        rung.push(...step.tellings);
        calls.push({ topic, feeder, call: step.call, nextAt: step.nextAt });
      }
    }
    // A screen that rings now needs no correction besides.
    const rings = new Set(rung.map(({ person, by, notice }) => `${person} ${by} ${notice.topic}`));
    const kept = this.tellings.filter(({ person, by, notice }) => !rings.has(`${person} ${by} ${notice.topic}`));
    return { calls, tellings: [...kept, ...rung] };
  }
}
