import { createHmac, randomBytes, timingSafeEqual } from "node:crypto";
import { between, type Instant, instant, type Span } from "../domain/instant.ts";

/**
 * What a feeder without a clock signs in place of the time: the server's own time, with a proof that it is the server's. Nothing of it is
 * stored, so that nobody fills the memory by asking for them; after a restart of the server each is stale, and the feeder takes a new one.
 */
export interface Nonces {
  make(now: Instant): string;
  isFresh(nonce: string, now: Instant): boolean;
}

export function createNonces(validFor: Span): Nonces {
  const secret = randomBytes(32);
  const proofOf = (time: string) => createHmac("sha256", secret).update(time).digest();
  return {
    make: (now) => `${now}.${proofOf(String(now)).toString("base64url")}`,
    isFresh(nonce, now) {
      const [time = "", proof = ""] = nonce.split(".");
      const [stated, right] = [Buffer.from(proof, "base64url"), proofOf(time)];
      if (stated.length !== right.length || !timingSafeEqual(stated, right)) return false;
      return Math.abs(between(instant(Number(time)), now)) <= validFor;
    },
  };
}
