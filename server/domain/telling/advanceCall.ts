import { after, earlier, type Instant, later } from "../instant.ts";
import type { Call, CallStep, Circle, Person, Telling, ToldPerson } from "./call.ts";
import { closing, ringing, telling } from "./callNotices.ts";
import { isMailedReminder, rememberedAfterEnd, reminderGap, shownWithin, unreachableLook } from "./gaps.ts";
import { awakeFrom } from "./quietHours.ts";
import { hasNewAddress, hasNewPhone, isLost, isPushLost, isSince } from "./reached.ts";

/**
 * What time does to a call: it reaches the next turn, falls back on mail, reminds, and is forgotten a while after its end.
 *
 * Everything owed is worked out from moments in the call's own state, and written back as done: looking twice at one moment
 * tells nothing twice, and a server that was down makes up for what it missed with one word a person, not with all of them.
 */
export function advanceCall(stored: Call, circle: Circle, now: Instant): CallStep {
  const call = withoutThoseWhoLeft(stored, circle);
  if (call.overAt !== null || call.acknowledgedBy !== null) return afterAnswer(call, circle, now);
  if (call.holdUntil !== null && now < call.holdUntil) return { call, tellings: [], nextAt: call.holdUntil };

  let next: Call = { ...call, ...turnOf(call, circle, now), holdUntil: null };
  const tellings: Telling[] = [];
  // Everybody's words are made before anybody counts as told, so that people of one turn read the same.
  const asked = next;
  for (const person of byTurn(circle)) {
    const rung = ringIfDue(asked, person, circle.zone, now);
    if (rung === null) continue;
    tellings.push(...rung.tellings);
    next = { ...next, told: withTold(next.told, rung.told) };
  }
  next = { ...next, unreachable: isUnreachable(next, circle, now) };
  return { call: next, tellings, nextAt: nextLook(next, circle, now) };
}

/** A phone of this person showed a notice of this call. Where no push of it went to them, nothing changes. */
export function shownBy(call: Call, person: string, at: Instant): Call {
  return {
    ...call,
    told: call.told.map((one) =>
      one.person === person && one.pushedAt !== null
        ? { ...one, shownAt: one.shownAt === null ? at : later(one.shownAt, at) }
        : one,
    ),
  };
}

export const isStanding = (call: Call | null): call is Call => call !== null && call.overAt === null;

/**
 * Urgent: the next turn comes when nobody has answered within the yard's time. Both: a turn of whom nobody can be reached is
 * passed at once; its people are still told when their quiet hours end. Each turn has its whole time from when it was really
 * told, also where the server was down when it should have been: waking all turns at once would leave nobody to wait for.
 */
function turnOf(call: Call, circle: Circle, now: Instant): Pick<Call, "turn" | "turnAt"> {
  let { turn, turnAt } = call;
  for (const next of turnsAfter(turn, circle)) {
    const waits = turn > 0 && isReached(call, turn, circle, now);
    if (waits && (call.priority === "soon" || now < after(turnAt, circle.escalateAfter))) break;
    turn = next;
    turnAt = now;
  }
  // All asleep, and nobody told so far: the first turn comes when somebody wakes, and the others have to wait for it then.
  const isAnybody = circle.people.some(
    // Whom nothing has reached so far is tried again at the usual gaps, as long as there is something to try.
    (person) => isReached(call, person.turn, circle, now) || (timesRung(call, person) > 0 && hasChannel(person)),
  );
  return isAnybody ? { turn, turnAt } : { turn: 0, turnAt: now };
}

function isReached(call: Call, turn: number, { people, zone }: Circle, now: Instant): boolean {
  return people.some((person) => {
    if (person.turn !== turn) return false;
    if (hasRung(call, person)) return true;
    // What is `soon` can wait for the morning; what is urgent goes to somebody who is awake.
    return (
      mayReach(call, person, now) && (call.priority === "soon" || awakeFrom(person, call.priority, zone, now) <= now)
    );
  });
}

function turnsAfter(turn: number, { people }: Circle): number[] {
  return [...new Set(people.map((person) => person.turn))].filter((one) => one > turn).sort((a, b) => a - b);
}

const byTurn = ({ people }: Circle): Person[] =>
  [...people].sort((a, b) => a.turn - b.turn || (a.id < b.id ? -1 : a.id > b.id ? 1 : 0));

const hasChannel = ({ phones, mail }: Person): boolean => phones > 0 || mail !== null;
const toldOf = (call: Call, { id }: Person): ToldPerson | null => call.told.find(({ person }) => person === id) ?? null;
const timesRung = (call: Call, person: Person): number => toldOf(call, person)?.times ?? 0;

/** It rang for them, and nothing says that this reached nobody. */
function hasRung(call: Call, person: Person): boolean {
  const told = toldOf(call, person);
  return told !== null && told.times > 0 && !isLost(call, told);
}

/** There is something by which they have not been tried in vain. */
function mayReach(call: Call, person: Person, now: Instant): boolean {
  const told = toldOf(call, person);
  if (told === null || told.times === 0) return hasChannel(person);
  return !isLost(call, told) || hasNewPhone(call, person, told, now) || wantsMail(call, person, told, now);
}

interface Due {
  readonly what: "first" | "newPhone" | "reminder" | "mailInstead";
  readonly at: Instant; // never within quiet hours that it may not break
}

/** The next thing that this person is owed; null where it isn't their turn, or nothing reaches them. */
function dueFor(call: Call, person: Person, zone: string, now: Instant): Due | null {
  if (person.turn > call.turn || !hasChannel(person)) return null;
  const awake = (at: Instant) => awakeFrom(person, call.priority, zone, later(at, now));
  const told = toldOf(call, person);
  if (told === null || told.times === 0) return { what: "first", at: awake(now) };
  if (hasNewPhone(call, person, told, now)) return { what: "newPhone", at: awake(now) };
  const reminder: Due = { what: "reminder", at: awake(after(told.gapFrom, reminderGap(call.priority, told.times))) };
  if (!wantsMail(call, person, told, now)) return reminder;
  const lostFrom = person.phones === 0 || isPushLost(told) ? now : after(told.gapFrom, shownWithin[call.priority]);
  const mail: Due = { what: "mailInstead", at: awake(lostFrom) };
  // Where both are late, the reminder goes; the mail follows only if that isn't shown either.
  return reminder.at <= now || reminder.at < mail.at ? reminder : mail;
}

/** Once to an address since it last rang anew, and only while no phone of theirs has shown it since. */
function wantsMail({ freshAt }: Call, person: Person, told: ToldPerson, now: Instant): boolean {
  if (person.mail === null || isSince(told.shownAt, freshAt)) return false;
  return !isSince(told.mailedAt, freshAt) || hasNewAddress(person, told, now);
}

/** A phone has shown the last ring. */
const isSeen = ({ shownAt, pushedAt }: ToldPerson): boolean => pushedAt !== null && isSince(shownAt, pushedAt);

interface Rung {
  readonly told: ToldPerson;
  readonly tellings: readonly Telling[];
}

function ringIfDue(call: Call, person: Person, zone: string, now: Instant): Rung | null {
  const due = dueFor(call, person, zone, now);
  if (due === null || due.at > now) return null;
  const before = toldOf(call, person) ?? firstTold(person, now);
  const byPush = due.what !== "mailInstead" && person.phones > 0;
  const byMail = person.mail !== null && isMailed(due, call, before, person, now);
  const notice = ringing(call, due.what === "reminder", zone, now);
  const tellings: Telling[] = [];
  if (byPush) tellings.push({ ...telling(call, person.id, "push", notice), ...newPhonesOnly(due, before) });
  if (byMail) tellings.push(telling(call, person.id, "mail", notice));
  // A mail, and a push to a phone that was added since, belong to the ring that nobody saw.
  const counts = due.what !== "mailInstead" && due.what !== "newPhone";
  return {
    tellings,
    told: {
      ...before,
      times: before.times + (counts ? 1 : 0),
      lastAt: tellings.length > 0 ? now : before.lastAt,
      gapFrom: byPush || counts || person.phones === 0 ? now : before.gapFrom, // without a phone the letter is the ring
      pushedAt: byPush ? now : before.pushedAt,
      mailedAt: byMail ? now : before.mailedAt,
      ...(byPush ? { pushLostAt: null } : {}),
      ...(byMail ? { mailLostAt: null } : {}),
      owedNews: false,
    },
  };
}

/** The other phones have it already, as far as anybody knows; where they are known not to, all are tried. */
function newPhonesOnly({ what }: Due, told: ToldPerson): Pick<Telling, "phonesAfter"> {
  if (what !== "newPhone" || told.pushedAt === null || isPushLost(told)) return {};
  return { phonesAfter: told.pushedAt };
}

/** Who has only mail is spared two reminders of three: an unread letter doesn't become read by another. */
function isMailed({ what }: Due, call: Call, told: ToldPerson, person: Person, now: Instant): boolean {
  const noPhone = person.phones === 0;
  switch (what) {
    case "first":
      return noPhone;
    case "newPhone":
      return false;
    case "mailInstead":
      return true;
    case "reminder":
      if (noPhone && wantsMail(call, person, told, now)) return true; // the phone went away between ring and reminder
      return isMailedReminder(told.times) && (noPhone || !(isSeen(told) || isSince(told.mailedAt, told.gapFrom)));
  }
}

const firstTold = ({ id }: Person, now: Instant): ToldPerson => ({
  person: id,
  times: 0,
  firstAt: now,
  lastAt: now,
  gapFrom: now,
  pushedAt: null,
  shownAt: null,
  mailedAt: null,
  owedNews: false,
});

function withTold(told: readonly ToldPerson[], one: ToldPerson): readonly ToldPerson[] {
  return [...told.filter(({ person }) => person !== one.person), one];
}

/** A `soon` that waits for the morning is on its way; an urgent one that nobody hears now isn't. */
function isUnreachable(call: Call, { people }: Circle, now: Instant): boolean {
  if (people.some((person) => hasRung(call, person))) return false;
  return call.priority === "urgent" || !people.some((person) => mayReach(call, person, now));
}

function nextLook(call: Call, circle: Circle, now: Instant): Instant | null {
  const whose = call.turn === 0 ? { ...call, turn: Number.POSITIVE_INFINITY } : call; // whoever wakes first
  const looks = circle.people.flatMap((person) => dueFor(whose, person, circle.zone, now)?.at ?? []);
  const goesOn = call.priority === "urgent" && call.turn > 0 && turnsAfter(call.turn, circle).length > 0;
  if (goesOn) looks.push(after(call.turnAt, circle.escalateAfter));
  if (call.unreachable) looks.push(after(now, unreachableLook));
  return looks.length === 0 ? null : looks.reduce(earlier);
}

/** Nothing rings any more. What is left is good news by mail for who sleeps, and to forget the call in the end. */
function afterAnswer(call: Call, circle: Circle, now: Instant): CallStep {
  const tellings: Telling[] = [];
  const looks: Instant[] = [];
  const told = call.told.map((one) => {
    const person = circle.people.find(({ id }) => id === one.person);
    if (!one.owedNews || call.news === null || !person || person.mail === null) return { ...one, owedNews: false };
    const at = awakeFrom(person, call.priority, circle.zone, now);
    if (at > now) {
      looks.push(at);
      return one;
    }
    tellings.push(telling(call, person.id, "mail", closing(call, call.news)));
    return { ...one, owedNews: false };
  });
  if (call.overAt !== null) {
    const forgetAt = after(call.overAt, rememberedAfterEnd);
    if (looks.length === 0 && now >= forgetAt) return { call: null, tellings, nextAt: null };
    if (forgetAt > now) looks.push(forgetAt);
  }
  const nextAt = looks.length === 0 ? null : looks.reduce(earlier);
  return { call: { ...call, told, holdUntil: null, unreachable: false }, tellings, nextAt };
}

/** Who is no longer of the circle is told nothing more of the yard. */
function withoutThoseWhoLeft(call: Call, { people }: Circle): Call {
  const told = call.told.filter(({ person }) => people.some(({ id }) => id === person));
  return told.length === call.told.length ? call : { ...call, told };
}
