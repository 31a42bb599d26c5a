import { createHmac, randomBytes } from "node:crypto";
import { between, type Instant, instant, type Span } from "../domain/instant.ts";
import { sameText } from "./sameText.ts";

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
  const proofOf = (time: string) => createHmac("sha256", secret).update(time).digest("base64url");
  return {
    make: (now) => `${now}.${proofOf(String(now))}`,
    isFresh(nonce, now) {
      const [time = "", proof = ""] = nonce.split(".");
      return sameText(proof, proofOf(time)) && Math.abs(between(instant(Number(time)), now)) <= validFor;
    },
  };
}
