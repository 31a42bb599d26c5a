import { createHash, generateKeyPairSync, type KeyObject, randomBytes, sign } from "node:crypto";

/** A device that holds one passkey (ES256), as WebAuthn level 3 describes it; it can send wrong data. */
export interface FakePasskeyDevice {
  readonly credentialId: string;
  /** What the browser sends for a new passkey. */
  create(options: RequestOptions, lies?: CredentialFaults): object;
  /** What the browser sends for a use of it. */
  use(options: RequestOptions, lies?: CredentialFaults): object;
}
interface RequestOptions {
  readonly challenge: string;
  readonly user?: { readonly id: string };
}
export interface CredentialFaults {
  readonly origin?: string;
  readonly host?: string;
  readonly type?: string;
  readonly challenge?: string;
  readonly crossOrigin?: boolean;
  readonly verified?: boolean;
  readonly counter?: number;
  readonly userHandle?: string;
  readonly credentialId?: string;
  readonly signature?: "wrong";
  readonly certificate?: true;
}

const base64url = (octets: Uint8Array) => Buffer.from(octets).toString("base64url");
const sha256 = (octets: string | Uint8Array) => createHash("sha256").update(octets).digest();

/** @param counts whether its counter goes up; many devices always send 0 */
export function fakePasskeyDevice(origin: string, { counts = true, firstCounter = 1 } = {}): FakePasskeyDevice {
  const { privateKey, publicKey } = generateKeyPairSync("ec", { namedCurve: "P-256" });
  const credentialId = randomBytes(32);
  const host = new URL(origin).hostname;
  let counter = counts ? firstCounter - 1 : 0;
  let userHandle: string | undefined;

  const clientData = (type: string, challenge: string, lies: CredentialFaults) =>
    Buffer.from(
      JSON.stringify({
        type: lies.type ?? type,
        challenge: lies.challenge ?? challenge,
        origin: lies.origin ?? origin,
        crossOrigin: lies.crossOrigin ?? false,
      }),
    );
  /** Section 6.1: hash of the host, flags, counter. */
  const head = (lies: CredentialFaults, attested: boolean) => {
    if (counts) counter += 1;
    const flags = 0x01 | (lies.verified === false ? 0 : 0x04) | (attested ? 0x40 : 0);
    const rest = Buffer.alloc(5);
    rest.writeUInt8(flags, 0);
    rest.writeUInt32BE(lies.counter ?? counter, 1);
    return Buffer.concat([sha256(lies.host ?? host), rest]);
  };
  const named = (lies: CredentialFaults) => {
    const id = lies.credentialId ?? base64url(credentialId);
    return { id, rawId: id, type: "public-key", clientExtensionResults: {}, authenticatorAttachment: "platform" };
  };

  return {
    credentialId: base64url(credentialId),
    create({ challenge, user }, lies = {}) {
      userHandle = user?.id;
      const client = clientData("webauthn.create", challenge, lies);
      const id = lies.credentialId === undefined ? credentialId : Buffer.from(lies.credentialId, "base64url");
      const length = Buffer.from([id.length >> 8, id.length & 0xff]);
      const data = Buffer.concat([head(lies, true), Buffer.alloc(16), length, id, coseKey(publicKey)]);
      const statement = lies.certificate ? certified(privateKey, data, client) : Buffer.from([0xa0]);
      const attestationObject = Buffer.concat([
        Buffer.from([0xa3]), // a map of three
        cborText("fmt"),
        cborText(lies.certificate ? "packed" : "none"),
        cborText("attStmt"),
        statement,
        cborText("authData"),
        cborOctets(data),
      ]);
      const response = {
        clientDataJSON: base64url(client),
        attestationObject: base64url(attestationObject),
        transports: ["internal"],
      };
      return { ...named(lies), response };
    },
    use({ challenge }, lies = {}) {
      const client = clientData("webauthn.get", challenge, lies);
      const data = head(lies, false);
      const signature = sign("sha256", Buffer.concat([data, sha256(client)]), privateKey);
      if (lies.signature === "wrong") signature[signature.length - 1] = (signature.at(-1) as number) ^ 1;
      const response = {
        clientDataJSON: base64url(client),
        authenticatorData: base64url(data),
        signature: base64url(signature),
        userHandle: lies.userHandle ?? userHandle,
      };
      return { ...named(lies), response };
    },
  };
}

/** RFC 9052 and 9053: kty EC2, alg ES256, crv P-256, x, y. */
function coseKey(key: KeyObject): Buffer {
  const { x = "", y = "" } = key.export({ format: "jwk" });
  const coordinate = (text: string) => cborOctets(Buffer.from(text, "base64url"));
  return Buffer.concat([
    Buffer.from([0xa5, 0x01, 0x02, 0x03, 0x26, 0x20, 0x01, 0x21]),
    coordinate(x),
    Buffer.from([0x22]),
    coordinate(y),
  ]);
}

/** A statement with a certificate, which nobody requested: the content of the certificate doesn't matter here. */
function certified(key: KeyObject, data: Buffer, client: Buffer): Buffer {
  const signature = sign("sha256", Buffer.concat([data, sha256(client)]), key);
  return Buffer.concat([
    Buffer.from([0xa3]),
    cborText("alg"),
    Buffer.from([0x26]),
    cborText("sig"),
    cborOctets(signature),
    cborText("x5c"),
    Buffer.from([0x81]), // a list of one
    cborOctets(randomBytes(64)),
  ]);
}

/** RFC 8949, in the shortest form that WebAuthn demands: text of up to 23 octets, and octets of 24 to 65,535. */
const cborText = (text: string) => Buffer.concat([Buffer.from([0x60 + text.length]), Buffer.from(text)]);
const cborOctets = (octets: Uint8Array) => {
  const head = octets.length < 256 ? [0x58, octets.length] : [0x59, octets.length >> 8, octets.length & 0xff];
  return Buffer.concat([Buffer.from(head), octets]);
};
