import { after, type Instant, minutes } from "../domain/instant.ts";
import type { Clock } from "../ports.ts";

/** The purpose of a challenge: it can't be used for another. */
export type Purpose = "signIn" | "add" | "confirm";

export type ChallengeUse = "fine" | "unknown" | "otherPurpose" | "otherBrowser";

/**
 * Long enough to find a security key and its PIN, and the limit that WebAuthn level 3, section 15.1, recommends where a person is
 * verified.
 */
export const challengeLife = minutes(5);

interface Open {
  readonly purpose: Purpose;
  readonly holder: string;
  readonly endsAt: Instant;
}

/**
 * Challenges that were issued and not answered yet. Each is valid for one answer, one purpose and one holder: a session, or a
 * browser that signs in. In memory, since they are valid for minutes: after a restart a browser requests a new one.
 */
export interface PasskeyChallenges {
  /** A holder has one open challenge for each purpose: a newer one replaces it. */
  open(challenge: string, purpose: Purpose, holder: string): void;
  /** The challenge can't be used again, whatever the result. */
  use(challenge: string, purpose: Purpose, holder: string): ChallengeUse;
}

/** Each takes some 300 octets. Beyond this the oldest end early. */
const openMax = 10_000;

export function passkeyChallenges(clock: Clock): PasskeyChallenges {
  const opened = new Map<string, Open>(); // in the order in which they end
  const newest = new Map<string, string>(); // by holder and purpose
  const keyOf = ({ purpose, holder }: Pick<Open, "purpose" | "holder">) => `${purpose} ${holder}`;
  const forget = (challenge: string) => {
    const found = opened.get(challenge);
    opened.delete(challenge);
    if (found && newest.get(keyOf(found)) === challenge) newest.delete(keyOf(found));
    return found;
  };
  return {
    open(challenge, purpose, holder) {
      const now = clock.now();
      const before = newest.get(keyOf({ purpose, holder }));
      if (before !== undefined) forget(before);
      for (const [old, { endsAt }] of opened) {
        if (endsAt > now && opened.size < openMax) break;
        forget(old);
      }
      opened.set(challenge, { purpose, holder, endsAt: after(now, challengeLife) });
      newest.set(keyOf({ purpose, holder }), challenge);
    },
    use(challenge, purpose, holder) {
      const found = forget(challenge);
      if (!found || found.endsAt <= clock.now()) return "unknown";
      if (found.purpose !== purpose) return "otherPurpose";
      return found.holder === holder ? "fine" : "otherBrowser";
    },
  };
}
