/** The part of http_ece 1.2.1 that the tests use; it ships no types. */
declare module "http_ece" {
  import type { ECDH } from "node:crypto";

  interface Parameters {
    readonly version: "aes128gcm";
    readonly privateKey: ECDH;
    readonly dh?: string;
    readonly salt?: string;
    readonly authSecret: string;
  }
  const ece: {
    encrypt(plaintext: Buffer, parameters: Parameters): Buffer;
    decrypt(body: Buffer, parameters: Parameters): Buffer;
  };
  export default ece;
}
