import { createDecipheriv, createECDH, createHmac, createPublicKey, type ECDH, verify } from "node:crypto";

/** What a phone and its push service do with a message, written out by hand from the RFCs as a check on the sending side. */

export interface ReceiverKeys {
  readonly ecdh: ECDH; // prime256v1, with keys
  readonly auth: Buffer; // 16 octets
}

export function receiverKeys(privateKey: string, auth: string): ReceiverKeys {
  const ecdh = createECDH("prime256v1");
  ecdh.setPrivateKey(privateKey, "base64url");
  return { ecdh, auth: Buffer.from(auth, "base64url") };
}

const hmac = (key: Buffer, ...parts: readonly (Buffer | string)[]): Buffer => {
  const mac = createHmac("sha256", key);
  for (const part of parts) mac.update(part);
  return mac.digest();
};

/** RFC 8188 section 2.1: salt (16) ‖ record size (4) ‖ id length (1) ‖ key id. */
export function parseHeader(body: Buffer) {
  if (body.length < 21) throw new Error(`expected a header of at least 21 octets, got ${body.length}`);
  const idLength = body.readUInt8(20);
  return {
    salt: body.subarray(0, 16),
    recordSize: body.readUInt32BE(16),
    keyId: body.subarray(21, 21 + idLength),
    ciphertext: body.subarray(21 + idLength),
  };
}

/** RFC 8291 section 3.4: the input keying material that the two parties share. */
export function sharedKey(sender: Buffer, { ecdh, auth }: ReceiverKeys): Buffer {
  const prkKey = hmac(auth, ecdh.computeSecret(sender));
  return hmac(prkKey, "WebPush: info\0", ecdh.getPublicKey(), sender, Buffer.from([1]));
}

/** RFC 8291: one message for one subscription. */
export function decryptPush(body: Buffer, keys: ReceiverKeys): Buffer {
  const { keyId, recordSize, ciphertext } = parseHeader(body);
  // RFC 8291 section 4: the key id is the sender's public key, and all is one record.
  if (keyId.length !== 65) throw new Error(`expected a key id of 65 octets, got ${keyId.length}`);
  if (ciphertext.length > recordSize) throw new Error("expected a single record");
  return decryptAes128gcm(body, sharedKey(keyId, keys));
}

/** RFC 8188 with a single record. @throws where the tag or the padding is wrong */
export function decryptAes128gcm(body: Buffer, keyingMaterial: Buffer): Buffer {
  const { salt, ciphertext } = parseHeader(body);
  const prk = hmac(salt, keyingMaterial);
  const key = hmac(prk, "Content-Encoding: aes128gcm\0", Buffer.from([1])).subarray(0, 16);
  const nonce = hmac(prk, "Content-Encoding: nonce\0", Buffer.from([1])).subarray(0, 12);
  const decipher = createDecipheriv("aes-128-gcm", key, nonce);
  decipher.setAuthTag(ciphertext.subarray(-16));
  const padded = Buffer.concat([decipher.update(ciphertext.subarray(0, -16)), decipher.final()]);
  const end = padded.findLastIndex((octet) => octet !== 0);
  if (padded[end] !== 2) throw new Error(`expected the delimiter 2 of a last record, got ${padded[end]}`);
  return padded.subarray(0, end);
}

export interface VapidClaims {
  readonly aud: string;
  readonly exp: number; // seconds
  readonly sub: string | undefined;
}

/**
 * RFC 8292 section 2: `Authorization: vapid t=<JWT>, k=<key>` for a push service at `origin`.
 * @throws Error with the reason
 */
export function verifyVapid(authorization: string | undefined, origin: string, nowSeconds: number): VapidClaims {
  const [, token, key] = /^vapid t=([\w.-]+), ?k=([\w-]+)$/.exec(authorization ?? "") ?? [];
  if (token === undefined || key === undefined) throw new Error("expected a vapid authorization with t and k");
  const [header = "", claims = "", signature = ""] = token.split(".");
  const raw = Buffer.from(key, "base64url");
  if (raw.length !== 65 || raw[0] !== 4) throw new Error("expected an uncompressed P-256 point as k");
  const jwk = { kty: "EC", crv: "P-256", x: raw.toString("base64url", 1, 33), y: raw.toString("base64url", 33) };
  const { alg } = JSON.parse(Buffer.from(header, "base64url").toString("utf8"));
  if (alg !== "ES256") throw new Error(`expected ES256, got ${alg}`);
  // ES256 signs as r ‖ s, 64 octets (RFC 7518 section 3.4); Node expects DER by default.
  const publicKey = { key: createPublicKey({ key: jwk, format: "jwk" }), dsaEncoding: "ieee-p1363" } as const;
  if (!verify("sha256", Buffer.from(`${header}.${claims}`), publicKey, Buffer.from(signature, "base64url"))) {
    throw new Error("the signature does not verify");
  }
  const { aud, exp, sub } = JSON.parse(Buffer.from(claims, "base64url").toString("utf8"));
  if (aud !== origin) throw new Error(`expected aud ${origin}, got ${aud}`);
  if (!(exp > nowSeconds)) throw new Error("the token has expired");
  if (exp > nowSeconds + 86_400) throw new Error("expected exp within 24 hours");
  if (sub !== undefined && !/^(mailto:|https:)/.test(sub))
    throw new Error(`expected a mailto: or https: sub, got ${sub}`);
  return { aud, exp, sub };
}
