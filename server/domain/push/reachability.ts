import { after, between, days, type Instant } from "../instant.ts";
import { spanText } from "../silence/spanText.ts";

/** Whether a phone can be told: silence must not be taken for "all is well". */
export interface Reachability {
  /**
   * `proved`: it showed a notice lately; `unproved`: nothing shows that what its push service took arrived; `lost`: its push
   * service doesn't take anything.
   */
  readonly kind: "proved" | "unproved" | "lost";
  readonly text: string;
}

export interface PhoneContact {
  readonly lastAcceptedAt: Instant | null;
  readonly lastDisplayedAt: Instant | null;
  readonly problem: string | null;
  readonly blockedAt: Instant | null; // its browser may not show notices since then
}

/** A digest a day proves it each morning; three days leave room for a phone that was off over a weekend. Our choice. */
const proofValidFor = days(3);

/** A push service says only that it took a notice; the phone alone can say that it stood on the screen. */
export function phoneReachability(
  { lastAcceptedAt, lastDisplayedAt, problem, blockedAt }: PhoneContact,
  now: Instant,
): Reachability {
  if (blockedAt !== null) return { kind: "lost", text: "It can't be told: its browser says that notices are blocked." };
  if (problem !== null) return { kind: "lost", text: `It can't be told just now: ${problem}` };
  if (lastDisplayedAt !== null && now < after(lastDisplayedAt, proofValidFor)) {
    return { kind: "proved", text: `It showed a notice ${agoText(lastDisplayedAt, now)}.` };
  }
  const shown =
    lastDisplayedAt === null
      ? "It has never shown a notice"
      : `It last showed a notice ${agoText(lastDisplayedAt, now)}`;
  const isOwed = lastAcceptedAt !== null && (lastDisplayedAt === null || lastAcceptedAt > lastDisplayedAt);
  const since = isOwed ? `, though its push service took one ${agoText(lastAcceptedAt, now)}` : "";
  return { kind: "unproved", text: `${shown}${since}. Send it a test.` };
}

/** How a person can be told: by the best of their phones, else by mail, else not at all. */
export function personReachability(phones: readonly PhoneContact[], byMail: boolean, now: Instant): Reachability {
  const reaches = phones.map((phone) => phoneReachability(phone, now).kind);
  if (reaches.includes("proved")) return { kind: "proved", text: "A phone showed a notice lately." };
  const mail = byMail ? " Letters go by mail." : "";
  if (reaches.includes("unproved")) return { kind: "unproved", text: `No phone has shown a notice lately.${mail}` };
  const none = phones.length === 0 ? "No phone is told." : "No phone can be told just now.";
  return {
    kind: byMail ? "unproved" : "lost",
    text: byMail ? `${none}${mail}` : `${none} Nor is there a mail address.`,
  };
}

const agoText = (at: Instant, now: Instant): string => {
  const span = between(at, now);
  return span < 60_000 ? "just now" : `${spanText(span)} ago`;
};

/** Our choice: each is sent every notice of its person, and nobody carries more. Who has more from before keeps them. */
export const phonesPerPersonMax = 10;
