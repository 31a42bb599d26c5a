import { createHash, createHmac, randomBytes } from "node:crypto";
import { between, type Instant, instant, minutes } from "../domain/instant.ts";
import type { YardStore } from "../ports.ts";
import { texts } from "../text/index.ts";
import { createNonces, type Nonces } from "./nonces.ts";
import { sameText } from "./sameText.ts";

/**
 * How a feeder authenticates. Its key is 256 random bits; only the SHA-256 of it is stored. With so strong a key a plain hash is
 * enough: it can't be guessed. A feeder on a plain-HTTP home network can sign instead of sending its key.
 */
export interface FeederKeys {
  /** @param authorization the header of that name, @param body what a signature must cover, byte for byte. */
  identify(authorization: string | undefined, body: string, now: Instant): Promise<Identification>;
  /** What a feeder without a clock signs in place of the time. */
  newNonce(now: Instant): string;
  /** To be called after a key was changed or a feeder removed: remembered keys are not valid any more. */
  clearCache(): void;
}

export type Identification =
  | { readonly kind: "feeder"; readonly id: string; readonly yard: string }
  | { readonly kind: "unknown"; readonly reason: string };

export function newFeederKey(): { readonly key: string; readonly hash: string } {
  const key = `pw_${randomBytes(32).toString("base64url")}`;
  return { key, hash: hashOf(key) };
}

/** From the key that signs sessions, without giving that one away (RFC 2104 as a pseudorandom function). */
export const nonceSecretOf = (sessionKey: string): Buffer =>
  createHmac("sha256", sessionKey).update("feederNonces").digest();

export const hashOf = (secret: string): string => createHash("sha256").update(secret).digest("hex");

/**
 * The signature of a report: HMAC-SHA-256 (RFC 2104) over the time or the server's nonce, a line feed and the body. The shared secret is
 * the SHA-256 of the key in hexadecimal, since that is what the server has.
 */
export const signatureOf = (keyHash: string, timeOrNonce: string, body: string): string =>
  createHmac("sha256", keyHash).update(`${timeOrNonce}\n${body}`).digest("base64url");

/** An older signed report may have been recorded and sent again by another sender. */
const signatureAgeMax = minutes(5);
const cachedMax = 10_000;

/** @param nonceSecret 256 bits; without it nonces are good until a restart */
export function feederKeys(yards: YardStore, nonceSecret: Buffer = randomBytes(32)): FeederKeys {
  const remembered = new Map<string, { id: string; yard: string }>();
  const nonces = createNonces(signatureAgeMax, nonceSecret);

  async function withKey(key: string): Promise<Identification> {
    const hash = hashOf(key);
    const known = remembered.get(hash) ?? (await yards.feederWithKey(hash));
    if (!known) return { kind: "unknown", reason: texts.feederKeys.unknownKey };
    if (remembered.size >= cachedMax) remembered.clear();
    remembered.set(hash, known);
    return { kind: "feeder", ...known };
  }

  async function withSignature(text: string, body: string, now: Instant): Promise<Identification> {
    const { feeder, time, nonce, mac } = Object.fromEntries(
      [...text.matchAll(/(feeder|time|nonce|mac)="?([^",\s]+)"?/g)].map((match) => [match[1], match[2]]),
    );
    if (!feeder || !mac) return { kind: "unknown", reason: texts.feederKeys.incompleteSignature };
    const signed = signedMoment(nonces, time, nonce, now);
    if (typeof signed === "string") return { kind: "unknown", reason: signed };
    const keyHash = await yards.keyHashOf(feeder);
    // An unknown feeder takes the same time as a known one with a wrong signature.
    const right = signatureOf(keyHash ?? hashOf(feeder), signed.text, body);
    if (keyHash === null || !sameText(right, mac)) return { kind: "unknown", reason: texts.feederKeys.wrongSignature };
    const known = await yards.feederWithKey(keyHash);
    return known ? { kind: "feeder", ...known } : { kind: "unknown", reason: texts.feederKeys.unknownKey };
  }

  return {
    async identify(authorization, body, now) {
      const [scheme, request] = authorization?.match(/^(\S+)\s+(.+)$/)?.slice(1) ?? [];
      if (!scheme || !request) return { kind: "unknown", reason: texts.feederKeys.noHeader };
      if (scheme.toLowerCase() === "bearer") return withKey(request.trim());
      if (scheme.toLowerCase() === "signature") return withSignature(request, body, now);
      return { kind: "unknown", reason: texts.feederKeys.unknownScheme(scheme) };
    },
    newNonce: nonces.make,
    clearCache: () => remembered.clear(),
  };
}

/** @returns what was signed together with the body, or why it is not taken */
function signedMoment(nonces: Nonces, time: string | undefined, nonce: string | undefined, now: Instant) {
  if (nonce !== undefined) return nonces.isFresh(nonce, now) ? { text: nonce } : texts.feederKeys.staleNonce;
  if (time === undefined) return texts.feederKeys.incompleteSignature;
  const at = Number(time) * 1_000;
  const isNear = Number.isFinite(at) && Math.abs(between(instant(at), now)) <= signatureAgeMax;
  return isNear ? { text: time } : texts.feederKeys.staleSignature;
}
