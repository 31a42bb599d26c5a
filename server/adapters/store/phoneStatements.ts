import type Database from "better-sqlite3";

export interface PhoneColumns {
  readonly id: string;
  readonly keeperId: string;
  readonly endpoint: string;
  readonly p256dh: string;
  readonly auth: string;
  readonly label: string;
  readonly addedAt: string;
  readonly blockedAt: string | null;
}

export const phoneStatements = (database: Database.Database) => ({
  byEndpoint: database.prepare<[string], PhoneColumns>(`SELECT * FROM "Phone" WHERE "endpoint" = ?`),
  byId: database.prepare<[string], PhoneColumns>(`SELECT * FROM "Phone" WHERE "id" = ?`),
  count: database.prepare<[string], number>(`SELECT count(*) FROM "Phone" WHERE "keeperId" = ?`).pluck(),
  insert: database.prepare(
    `INSERT INTO "Phone" ("id", "keeperId", "endpoint", "p256dh", "auth", "label", "addedAt", "endpointSince")
     VALUES (@id, @keeper, @endpoint, @p256dh, @auth, @label, @addedAt, @endpointSince)`,
  ),
  update: database.prepare(
    `UPDATE "Phone" SET "keeperId" = @keeper, "p256dh" = @p256dh, "auth" = @auth, "label" = @label, "problem" = NULL
     WHERE "id" = @id`,
  ),
  renew: database.prepare(
    `UPDATE "Phone" SET "endpoint" = @endpoint, "p256dh" = @p256dh, "auth" = @auth, "label" = @label, "problem" = NULL
     WHERE "id" = @id`,
  ),
  /** Nothing proves any more that the phone can be reached. */
  forgetContact: database.prepare(
    `UPDATE "Phone" SET "lastAcceptedAt" = NULL, "lastDisplayedAt" = NULL, "blockedAt" = NULL, "endpointSince" = @at
     WHERE "id" = @id`,
  ),
  block: database.prepare(`UPDATE "Phone" SET "blockedAt" = ? WHERE "id" = ?`),
  remove: database.prepare(`DELETE FROM "Phone" WHERE "id" = ?`),
});

/** The outbox items of one phone. */
export const phoneItemStatements = (database: Database.Database) => ({
  removeItems: database.prepare(`DELETE FROM "OutboxItem" WHERE "phoneId" = ?`),
  giveUpWaiting: database.prepare(
    `UPDATE "OutboxItem" SET "status" = 'givenUp', "settledAt" = @at, "problem" = 'its browser may not show notifications'
     WHERE "phoneId" = @id AND "status" = 'waiting'`,
  ),
  // What was postponed since the old endpoint failed need not wait any longer.
  makeItemsDue: database.prepare(
    `UPDATE "OutboxItem" SET "dueAt" = @at WHERE "phoneId" = @id AND "status" = 'waiting' AND "dueAt" > @at`,
  ),
});

/** Makes the escalations of a person's yards due, as the ways to reach that person have changed. */
export const escalationsDue = (database: Database.Database) =>
  database.prepare<[at: string, keeper: string]>(
    `UPDATE "Escalation" SET "nextAt" = ? WHERE "yardId" IN (SELECT "yardId" FROM "Member" WHERE "keeperId" = ?)`,
  );
