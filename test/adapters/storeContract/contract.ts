import { accountRemovalRules, firstSignInRules, passphraseRules, sessionRules } from "./accountRules.ts";
import { closingRules } from "./closingRules.ts";
import { escalationRules } from "./escalationRules.ts";
import { exportKeyRules } from "./exportKeyRules.ts";
import { logRules, packRules } from "./logRules.ts";
import { outboxRules } from "./outboxRules.ts";
import { passkeyRules } from "./passkeyRules.ts";
import { inviteRules, memberRules } from "./peopleRules.ts";
import { phoneRules } from "./phoneRules.ts";
import { pictureRules } from "./pictureRules.ts";
import { rebuiltRollupRules } from "./rebuiltRollupRules.ts";
import { receiptRules } from "./receiptRules.ts";
import { alarmChangeRules, keeperRecordRules } from "./recordRules.ts";
import { rollupRules } from "./rollupRules.ts";
import { sharingRules } from "./sharingRules.ts";
import { damageRules, stepRules } from "./stepRules.ts";
import { stillRules } from "./stillRules.ts";
import type { Rules } from "./storeUnderTest.ts";
import { trainingRules } from "./trainingRules.ts";
import { conditionRules, transactionRules } from "./transactionRules.ts";
import { digestRules, feederRules, yardRules } from "./yardRules.ts";

/** All that the port of the store promises, by area. */
export const storeContract: Readonly<Record<string, Rules>> = {
  invites: inviteRules,
  members: memberRules,
  "first sign-in": firstSignInRules,
  sessions: sessionRules,
  passphrases: passphraseRules,
  "the end of an account": accountRemovalRules,
  passkeys: passkeyRules,
  "export keys": exportKeyRules,
  phones: phoneRules,
  yards: yardRules,
  feeders: feederRules,
  digests: digestRules,
  escalations: escalationRules,
  outbox: outboxRules,
  "the end of an alarm in the outbox": closingRules,
  "delivery limits": sharingRules,
  "display receipts": receiptRules,
  "alarm changes": alarmChangeRules,
  "what keepers did": keeperRecordRules,
  transactions: transactionRules,
  condition: conditionRules,
  "a feeder's steps": stepRules,
  "damaged feeders": damageRules,
  log: logRules,
  "the log's packs": packRules,
  "roll-ups": rollupRules,
  "roll-ups that are made again": rebuiltRollupRules,
  "training programme": trainingRules,
  pictures: pictureRules,
  stills: stillRules,
};
