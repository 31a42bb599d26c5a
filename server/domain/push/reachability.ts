import { spanText } from "../../text/format.ts";
import { after, between, days, type Instant } from "../instant.ts";

/** Whether a phone can be reached: without alarms a keeper must know that alarms would arrive. */
export interface Reachability {
  /**
   * `proved`: it displayed a notification recently; `unproved`: no receipt for what its push service accepted; `lost`: its push
   * service accepts nothing.
   */
  readonly kind: "proved" | "unproved" | "lost";
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
  if (blockedAt !== null) return { kind: "lost", text: "Notifications are blocked in its browser." };
  if (problem !== null) return { kind: "lost", text: `Can't deliver now: ${problem}` };
  if (lastDisplayedAt !== null && now < after(lastDisplayedAt, receiptValidFor)) {
    return { kind: "proved", text: `Showed a notification ${agoText(lastDisplayedAt, now)}.` };
  }
  const shown =
    lastDisplayedAt === null
      ? "Never showed a notification"
      : `Last showed a notification ${agoText(lastDisplayedAt, now)}`;
  const isAwaited = lastAcceptedAt !== null && (lastDisplayedAt === null || lastAcceptedAt > lastDisplayedAt);
  const sent = isAwaited ? ` (last sent ${agoText(lastAcceptedAt, now)})` : "";
  return { kind: "unproved", text: `${shown}${sent}. Send a test.` };
}

/** How a person can be reached: by the best of their phones, else by e-mail, else not at all. */
export function personReachability(phones: readonly PhoneContact[], byEmail: boolean, now: Instant): Reachability {
  const reaches = phones.map((phone) => phoneReachability(phone, now).kind);
  if (reaches.includes("proved")) return { kind: "proved", text: "A phone showed a notification recently." };
  const email = byEmail ? " E-mail is on." : "";
  if (reaches.includes("unproved"))
    return { kind: "unproved", text: `No phone showed a notification recently.${email}` };
  const none = phones.length === 0 ? "No phone has notifications on." : "No phone can be reached now.";
  return {
    kind: byEmail ? "unproved" : "lost",
    text: byEmail ? `${none}${email}` : `${none} No e-mail address.`,
  };
}

const agoText = (at: Instant, now: Instant): string => {
  const span = between(at, now);
  return span < 60_000 ? "just now" : `${spanText(span)} ago`;
};

/** Our choice: each gets every notification of its person. More phones from before the limit stay. */
export const phonesPerPersonMax = 10;
