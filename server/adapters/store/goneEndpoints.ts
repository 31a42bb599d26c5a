import type Database from "better-sqlite3";
import type { Instant } from "../../domain/instant.ts";
import { createLostNotifications } from "./lostNotifications.ts";
import { escalationsDue, phoneStatements } from "./phoneStatements.ts";
import { textOf } from "./rows.ts";

/** How many gone endpoints a server remembers. Our choice: the people of one yard lose a few in a year. */
const goneEndpointsMax = 500;

/**
 * Records that a push service has declared an endpoint gone. A phone that has it is removed with its notifications; one that has
 * a newer endpoint by now stays as it is.
 * @returns whether the phone has a newer endpoint
 */
export function createGonePhoneRecorder(database: Database.Database) {
  const { byId, remove } = phoneStatements(database);
  const { insert, trim } = goneEndpoints(database);
  const makeEscalationsDue = escalationsDue(database);
  const lost = createLostNotifications(database);
  return ({ id, endpoint, keeper, label }: GonePhoneOf, at: Instant): boolean => {
    const known = byId.get(id);
    const isRenewed = known !== undefined && known.endpoint !== endpoint;
    const isItself = known !== undefined && !isRenewed;
    insert.run({
      ...{ endpoint, at: textOf(at), keeper: known?.keeperId ?? keeper, label: known?.label ?? label },
      ...{ phone: isItself ? id : null, addedAt: known?.addedAt ?? textOf(at) },
    });
    trim.run(goneEndpointsMax);
    if (isItself) {
      const topics = lost.topicsOf(id);
      remove.run(id); // its items go with it (ON DELETE CASCADE): nobody is there to read them
      lost.mark(known.keeperId, "push", topics, at);
    }
    makeEscalationsDue.run(textOf(at), keeper);
    return isRenewed;
  };
}

interface GonePhoneOf {
  readonly id: string;
  readonly endpoint: string;
  readonly keeper: string;
  readonly label: string;
}

export const goneEndpoints = (database: Database.Database) => ({
  has: database.prepare<[string]>(`SELECT 1 FROM "GonePhone" WHERE "endpoint" = ?`),
  /** The phone that had the endpoint, where a renewal may bring it back. */
  phone: database.prepare<[string, string], { phoneId: string; label: string; addedAt: string }>(
    `SELECT "phoneId", "label", "addedAt" FROM "GonePhone"
     WHERE "endpoint" = ? AND "keeperId" = ? AND "phoneId" IS NOT NULL`,
  ),
  insert: database.prepare(
    `INSERT INTO "GonePhone" ("endpoint", "keeperId", "goneAt", "phoneId", "label", "addedAt")
     VALUES (@endpoint, @keeper, @at, @phone, @label, @addedAt) ON CONFLICT ("endpoint") DO NOTHING`,
  ),
  trim: database.prepare(
    `DELETE FROM "GonePhone" WHERE "endpoint" IN
       (SELECT "endpoint" FROM "GonePhone" ORDER BY "goneAt" DESC, "endpoint" LIMIT -1 OFFSET ?)`,
  ),
  /** The phone was brought back or removed by its person. */
  forgetPhone: database.prepare(`UPDATE "GonePhone" SET "phoneId" = NULL WHERE "endpoint" = ? AND "keeperId" = ?`),
  prune: database.prepare(`DELETE FROM "GonePhone" WHERE "goneAt" < ?`),
});
