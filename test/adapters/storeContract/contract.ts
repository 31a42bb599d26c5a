import { accountRemovalRules, firstSignInRules, passphraseRules, sessionRules } from "./accountRules.ts";
import { passkeyRules } from "./passkeyRules.ts";
import { inviteRules, memberRules } from "./peopleRules.ts";
import type { Rules } from "./storeUnderTest.ts";

/** All that the port of the store promises, by area. */
export const storeContract: Readonly<Record<string, Rules>> = {
  invites: inviteRules,
  members: memberRules,
  "first sign-in": firstSignInRules,
  sessions: sessionRules,
  passphrases: passphraseRules,
  "the end of an account": accountRemovalRules,
  passkeys: passkeyRules,
};
