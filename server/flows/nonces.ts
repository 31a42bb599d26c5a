import { createHmac } from "node:crypto";
import { between, type Instant, instant, type Span } from "../domain/instant.ts";
import { sameText } from "./sameText.ts";

/**
 * What a feeder without a clock signs in place of the time: the server's own time, with a proof that it is the server's. Nothing of it is
 * stored, so that nobody fills the memory by asking for them.
 */
export interface Nonces {
  make(now: Instant): string;
  isFresh(nonce: string, now: Instant): boolean;
}

/** @param secret where it is the same after a restart, so are the nonces: reports that waited meanwhile are taken */
export function createNonces(validFor: Span, secret: Buffer): Nonces {
  const proofOf = (time: string) => createHmac("sha256", secret).update(time).digest("base64url");
  return {
    make: (now) => `${now}.${proofOf(String(now))}`,
    isFresh(nonce, now) {
      const [time = "", proof = ""] = nonce.split(".");
      return sameText(proof, proofOf(time)) && Math.abs(between(instant(Number(time)), now)) <= validFor;
    },
  };
}
