import type { JsonSchema } from "./schemaRows.ts";

/** What the routes of passkeys answer. */

const text: JsonSchema = { type: "string" };
const textOrNull: JsonSchema = { anyOf: [text, { type: "null" }] };
const passkey: JsonSchema = {
  type: "object",
  properties: { id: text, label: text, synced: { type: "boolean" }, addedAt: text, lastUsedAt: textOrNull },
  required: ["id", "label", "synced", "addedAt", "lastUsedAt"],
};

export const passkeyAnswers = {
  /** PublicKeyCredentialCreationOptionsJSON or …RequestOptionsJSON: WebAuthn level 3, sections 5.1.9 and 5.1.10. */
  options: { type: "object", properties: { challenge: text }, required: ["challenge"] } as JsonSchema,
  passkeys: {
    type: "object",
    properties: {
      passkeys: { type: "array", items: passkey },
      origin: textOrNull,
      most: { type: "number" },
    },
    required: ["passkeys", "origin", "most"],
  } as JsonSchema,
};
