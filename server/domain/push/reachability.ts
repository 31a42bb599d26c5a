import { spanText } from "../../text/format.ts";
import { texts } from "../../text/index.ts";
import { after, between, days, type Instant } from "../instant.ts";

/** Whether a phone can be reached: without alarms a keeper must know that alarms would arrive. */
export interface Reachability {
  /**
   * `confirmed`: it displayed a notification recently; `unconfirmed`: no receipt for what its push service accepted; `lost`: its push
   * service accepts nothing.
   */
  readonly kind: "confirmed" | "unconfirmed" | "lost";
  readonly text: string;
}

export interface PhoneContact {
  readonly lastAcceptedAt: Instant | null;
  readonly lastDisplayedAt: Instant | null;
  readonly problem: string | null;
  readonly blockedAt: Instant | null; // its browser blocks notifications since then
}

/** The daily digest gives a receipt each morning; three days allow for a phone that was off over a weekend. Our choice. */
const receiptValidFor = days(3);

/** A push service reports only that it accepted a notification; only the phone can report that it displayed it. */
export function phoneReachability(
  { lastAcceptedAt, lastDisplayedAt, problem, blockedAt }: PhoneContact,
  now: Instant,
): Reachability {
  const text = texts.reachability;
  if (blockedAt !== null) return { kind: "lost", text: text.blocked };
  if (problem !== null) return { kind: "lost", text: text.undeliverable(problem) };
  if (lastDisplayedAt !== null && now < after(lastDisplayedAt, receiptValidFor)) {
    return { kind: "confirmed", text: text.shown(agoText(lastDisplayedAt, now)) };
  }
  const shown = lastDisplayedAt === null ? text.neverShown : text.lastShown(agoText(lastDisplayedAt, now));
  const isAwaited = lastAcceptedAt !== null && (lastDisplayedAt === null || lastAcceptedAt > lastDisplayedAt);
  const advice = isAwaited ? text.sendTestAfter(shown, agoText(lastAcceptedAt, now)) : text.sendTest(shown);
  return { kind: "unconfirmed", text: advice };
}

/** How a person can be reached: by the best of their phones, else by e-mail, else not at all. */
export function personReachability(phones: readonly PhoneContact[], byEmail: boolean, now: Instant): Reachability {
  const text = texts.reachability;
  const reaches = phones.map((phone) => phoneReachability(phone, now).kind);
  if (reaches.includes("confirmed")) return { kind: "confirmed", text: text.personReachable };
  if (reaches.includes("unconfirmed"))
    return { kind: "unconfirmed", text: byEmail ? text.withEmail(text.notConfirmed) : text.notConfirmed };
  const none = phones.length === 0 ? text.noPhone : text.noPhoneReachable;
  return byEmail
    ? { kind: "unconfirmed", text: text.withEmail(none) }
    : { kind: "lost", text: text.withoutEmail(none) };
}

const agoText = (at: Instant, now: Instant): string => {
  const span = between(at, now);
  return span < 60_000 ? texts.reachability.justNow : texts.reachability.ago(spanText(span));
};

/** Our choice: each gets every notification of its person. More phones from before the limit stay. */
export const phonesPerPersonMax = 10;
