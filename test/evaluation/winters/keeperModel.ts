import { after, hours, type Instant, minutes, type Span, seconds } from "../../../server/domain/instant.ts";
import { addLocalDays, instantOfLocal, localDateOf, localTimeOf } from "../../../server/domain/localTime.ts";
import type { Recipient, Recipients } from "../../../server/domain/notification/escalation.ts";
import type { RandomSource } from "../../../server/practice/random.ts";

/**
 * The people who are notified, and how their phones and they themselves behave. All of it is invented, meant as two people with work
 * and sleep; nothing here knows what is broken.
 */
export const zone = "Europe/Stockholm";

const people: readonly Recipient[] = [
  {
    ...{ id: "ada", name: "Ada", escalationOrder: 1, phoneCount: 1, email: "ada@example.org" },
    ...{ quietHours: { from: "22:00", to: "06:30" }, urgentBreaks: true },
  },
  {
    ...{ id: "bo", name: "Bo", escalationOrder: 2, phoneCount: 1, email: "bo@example.org" },
    ...{ quietHours: { from: "22:30", to: "07:00" }, urgentBreaks: false },
  },
];
export const recipients: Recipients = { zone, people, escalateAfter: minutes(15) };

/** Share of pushes that no phone ever shows, and of the time a phone is out of reach: then it shows them when it is back. */
const neverShown = 0.02;
const outOfReach = 0.03;

/** When a push that was sent now stands on the screen; null: never. */
export function displayTime(now: Instant, chance: RandomSource): Instant | null {
  if (chance.isTrueWith(neverShown)) return null;
  const late = chance.isTrueWith(outOfReach) ? minutes(chance.exponential(40)) : seconds(chance.between(1, 20));
  return after(now, Math.round(late) as Span);
}

const sleeps = { from: "23:00", to: "06:30" } as const;
const isAsleep = (at: Instant) => {
  const time = localTimeOf(at, zone);
  return time >= sleeps.from || time < sleeps.to;
};

/** The next moment after `at` at which the local clock shows this time. */
export function nextLocal(time: string, at: Instant): Instant {
  const today = localDateOf(at, zone);
  const then = instantOfLocal(today, time, zone);
  return then > at ? then : instantOfLocal(addLocalDays(today, 1), time, zone);
}

/** When the notified person reads it: at once where they are awake and free, else in an hour, or when they get up. */
export function readTime(shown: Instant, urgent: boolean, chance: RandomSource): Instant {
  if (isAsleep(shown)) {
    if (urgent && chance.isTrueWith(0.6)) return after(shown, Math.round(minutes(chance.between(0.5, 4))) as Span);
    return after(nextLocal(sleeps.to, shown), Math.round(minutes(chance.between(0, 60))) as Span);
  }
  const mean = chance.isTrueWith(0.75) ? (urgent ? minutes(4) : minutes(25)) : hours(1.5);
  return after(shown, Math.round(chance.exponential(mean)) as Span);
}

/** Whether somebody who has read it answers; else it is put away, and a reminder may come. */
export const isAnswered = (urgent: boolean, chance: RandomSource): boolean => chance.isTrueWith(urgent ? 0.85 : 0.7);

/** When somebody who knows of it stands before the feeder: by daylight, and what is urgent sooner. */
export function tripTime(knownAt: Instant, urgent: boolean, chance: RandomSource): Instant {
  const wanted = after(
    knownAt,
    Math.round(urgent ? hours(chance.between(0.5, 6)) : hours(chance.between(2, 34))) as Span,
  );
  const time = localTimeOf(wanted, zone);
  if (time >= "08:00" && time < "17:00") return wanted;
  return after(nextLocal("08:00", wanted), Math.round(minutes(chance.between(0, 120))) as Span);
}

/** Share of mornings on which somebody reads the digest, and of its wishes for food that are fulfilled that evening. */
export const readsDigest = 0.9;
export const refillsWhenAsked = 0.85;
export const mendsWhatDigestSays = 0.5;
