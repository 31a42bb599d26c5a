import { instantOf } from "../../server/domain/instant.ts";
import type { Phone } from "../../server/ports.ts";

/** A phone as it is stored; its keys are the receiver's of RFC 8291 appendix A. */
export const phoneFixture = (different: Partial<Phone> = {}): Phone => ({
  id: "phone",
  keeper: "keeper",
  endpoint: `https://push.example/${different.id ?? "phone"}`,
  p256dh: "BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4",
  auth: "BTBZMqHH6r4Tts7J_aSIgg",
  label: "a phone",
  addedAt: instantOf("2026-11-01T12:00:00Z"),
  lastAcceptedAt: null,
  lastDisplayedAt: null,
  problem: null,
  blockedAt: null,
  ...different,
});
