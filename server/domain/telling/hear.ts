import { after, between, type Instant } from "../instant.ts";
import { advanceCall, isStanding } from "./advanceCall.ts";
import type { Call, CalledOf, CallNews, CallStep, CallWord, Circle, Telling, ToldPerson } from "./call.ts";
import { closing, corrected, seenNews, setAsideNews, telling } from "./callNotices.ts";

/**
 * A new word about an alarm: what becomes of its call, and whom to tell now. Hearing the same word twice tells nothing twice.
 *
 * `call` is what is stored under the topic, null where nothing is. The silence of feeders isn't heard here but together
 * with its yard (groupedAlarms.ts).
 */
export function hear(call: Call | null, word: CallWord, of: CalledOf, circle: Circle, now: Instant): CallStep {
  const heard = heardWord(call, word, of, circle, now);
  if (heard.call === null) return { call: null, tellings: heard.tellings, nextAt: null };
  const step = advanceCall(heard.call, circle, now);
  const tellings = [...heard.tellings, ...step.tellings];
  return { ...step, tellings: heard.newWords ? [...tellings, ...corrections(step, circle)] : tellings };
}

interface Heard {
  readonly call: Call | null;
  readonly tellings: readonly Telling[];
  /** What stands on the screens of those who don't hear it ring now must be set right. */
  readonly newWords: boolean;
}

/** What the word itself says, before time has its turn. */
export function heardWord(call: Call | null, word: CallWord, of: CalledOf, circle: Circle, now: Instant): Heard {
  switch (word.kind) {
    case "raised":
      if (isStanding(call) && call.raisedAt === word.at) return nothingNew(call);
      if (call !== null && word.sameEpisode && call.told.length > 0) {
        return { call: resumed(call, word, now), tellings: [], newWords: true };
      }
      return { call: anew(call, word, word.at, of, now), tellings: [], newWords: isStanding(call) };
    case "worsened":
      if (isStanding(call) && call.freshAt === word.at) return nothingNew(call);
      return { call: anew(call, word, word.raisedAt, of, now), tellings: [], newWords: isStanding(call) };
    case "acknowledged":
      if (!isStanding(call) || call.acknowledgedBy !== null) return nothingNew(call);
      return acknowledged(call, word.by, circle);
    case "returned":
      return isStanding(call) ? ended(call, { title: word.title, body: word.body }, circle, now) : nothingNew(call);
    case "setAside":
      return isStanding(call) ? ended(call, setAsideNews(call, word.words), circle, now) : nothingNew(call);
  }
}

const nothingNew = (call: Call | null): Heard => ({ call, tellings: [], newWords: false });

type Asking = Extract<CallWord, { kind: "raised" | "worsened" }>;

/** It rings from the first turn on. Who knows of something milder keeps it on the screen, set right, until it rings for them. */
function anew(before: Call | null, word: Asking, raisedAt: Instant, of: CalledOf, now: Instant): Call {
  const { fault, priority, title, body } = word;
  const { yard, feeder, topic, name } = of;
  const told = isStanding(before) ? before.told.map((one) => ({ ...one, times: 0, owedNews: false })) : [];
  return {
    ...{ yard, feeder, topic, name, fault, priority, title, body },
    raisedAt,
    freshAt: word.at,
    holdUntil: null,
    turn: 0,
    turnAt: now,
    told,
    acknowledgedBy: null,
    overAt: null,
    news: null,
    unreachable: false,
    spokenForBy: null,
    alsoAt: isStanding(before) ? before.alsoAt : [],
    silent: [],
  };
}

/**
 * Back within the hour: what the screens said in between is set right without a sound. The call's clocks stood still while it
 * was away; else a fault that flickers would either never reach the second turn, or reach it at its first return.
 */
function resumed(call: Call, word: Extract<CallWord, { kind: "raised" }>, now: Instant): Call {
  const away = between(call.overAt ?? now, now);
  // Who was told by mail that it is over must hear by mail that it isn't.
  const knowsBetter = (one: ToldPerson) => learntByMail(one) && !one.owedNews && call.priority === "urgent";
  return {
    ...call,
    priority: word.priority,
    title: word.title,
    body: word.body,
    raisedAt: word.at,
    holdUntil: null,
    turnAt: after(call.turnAt, away),
    told: call.told.map((one) => ({
      ...one,
      gapFrom: after(one.gapFrom, away),
      mailedAt: knowsBetter(one) && call.overAt !== null ? null : one.mailedAt,
      owedNews: false,
    })),
    acknowledgedBy: null,
    overAt: null,
    news: null,
  };
}

/** One has it in hand: everybody else may put the phone away. */
function acknowledged(call: Call, by: string, circle: Circle): Heard {
  const others = call.told.filter((one) => nameOf(one, circle) !== by);
  const news = seenNews(call, by);
  return {
    call: { ...call, ...owing(call, others), acknowledgedBy: by, news, holdUntil: null },
    tellings: closings(call, others, news, circle),
    newWords: false,
  };
}

/** It is over, or was set aside: whoever was told hears of it without a sound, and nobody else. */
function ended(call: Call, news: CallNews, circle: Circle, now: Instant): Heard {
  if (call.told.length === 0) return nothingNew(null);
  return {
    call: { ...call, ...owing(call, call.told), overAt: now, news, holdUntil: null },
    tellings: closings(call, call.told, news, circle),
    newWords: false,
  };
}

/** A letter about something that may wait till tomorrow needs no second letter to take it back. */
function owing(call: Call, whom: readonly ToldPerson[]): Pick<Call, "told"> {
  const owed = (one: ToldPerson) => call.priority === "urgent" && whom.includes(one) && learntByMail(one);
  return { told: call.told.map((one) => ({ ...one, owedNews: owed(one) })) };
}

/** No phone has proved since that it showed anything: as far as we know the letter is the newest they have. */
const learntByMail = ({ mailedAt, shownAt }: ToldPerson): boolean =>
  mailedAt !== null && (shownAt === null || shownAt < mailedAt);

/** On every screen that a push of this call may stand on, shown or still under way. */
export function closings(call: Call, whom: readonly ToldPerson[], news: CallNews, circle: Circle): Telling[] {
  return onScreens(whom, circle).map((person) => telling(call, person, "push", closing(call, news)));
}

/** Newer words for every screen that the step itself doesn't ring. */
export function corrections({ call, tellings }: CallStep, circle: Circle): Telling[] {
  if (call === null) return [];
  const rung = new Set(tellings.filter(({ by }) => by === "push").map(({ person }) => person));
  const notice = corrected(call);
  return onScreens(call.told, circle)
    .filter((person) => !rung.has(person))
    .map((person) => telling(call, person, "push", notice));
}

function onScreens(told: readonly ToldPerson[], { people }: Circle): string[] {
  return told
    .filter((one) => one.pushedAt !== null && people.some(({ id, phones }) => id === one.person && phones > 0))
    .map(({ person }) => person);
}

const nameOf = ({ person }: ToldPerson, { people }: Circle): string | null =>
  people.find(({ id }) => id === person)?.name ?? null;
