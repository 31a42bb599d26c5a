import type Database from "better-sqlite3";
import type { Instant } from "../../domain/instant.ts";
import { phonesPerPersonMax } from "../../domain/push/reachability.ts";
import type { KeeperStore, PhoneOperation } from "../../ports.ts";
import { createLostNotifications } from "./lostNotifications.ts";
import type { Connections } from "./openStore.ts";
import { instantFrom, phoneFrom, textOf } from "./rows.ts";

type PhoneStore = Pick<KeeperStore, PhoneOperation>;

/** The phones of all people, and the endpoints by which no phone can be reached any more. */
export function createPhoneStore({ reader, direct, transact }: Connections): PhoneStore {
  const statements = statementsOn(direct);
  const lost = createLostNotifications(direct);

  /** What was meant for it is no more; the calls of its person learn that this reached nothing. */
  const without = ({ id, keeperId }: PhoneRow, now: Instant, remove: () => void) => {
    const topics = lost.topicsOf(id);
    remove();
    lost.mark(keeperId, "push", topics, now);
    statements.hasten.run(textOf(now), keeperId);
  };

  const hasAll = (keeper: string) => (statements.count.get(keeper) ?? 0) >= phonesPerPersonMax;

  return {
    async phonesOf(keeper) {
      return (await reader.phone.findMany({ where: { keeperId: keeper }, orderBy: { addedAt: "asc" } })).map(phoneFrom);
    },

    async gonePhonesOf(keeper) {
      const where = { keeperId: keeper, phoneId: { not: null } };
      const found = await reader.gonePhone.findMany({ where, orderBy: { goneAt: "desc" } });
      return found.map(({ endpoint, label, goneAt }) => ({ endpoint, label, goneAt: instantFrom(goneAt) }));
    },

    savePhone: ({ id, keeper, endpoint, p256dh, auth, label, addedAt }) =>
      transact(async () => {
        if (statements.isGone.get(endpoint)) return "gone";
        const known = statements.byEndpoint.get(endpoint);
        const at = textOf(addedAt);
        if (known === undefined) {
          if (hasAll(keeper)) return "tooMany";
          statements.insert.run({ id, keeper, endpoint, p256dh, auth, label, at, since: null });
        } else {
          const sameKeys = known.p256dh === p256dh && known.auth === auth;
          const passedOn = known.keeperId !== keeper;
          // Only the browser itself knows its keys: who has none of them would take the phone from its person.
          if (passedOn && !sameKeys) return "taken";
          if (passedOn && hasAll(keeper)) return "tooMany";
          // Another person took the phone over: what was meant for the one before is none of theirs, and they prove it anew.
          if (passedOn) without(known, addedAt, () => statements.dropItems.run(known.id));
          statements.update.run({ id: known.id, keeper, p256dh, auth, label });
          if (passedOn || !sameKeys || known.blockedAt !== null) statements.unprove.run({ id: known.id, at });
        }
        statements.hasten.run(at, keeper);
        return "saved";
      }),

    renewPhone: ({ keeper, replaces, label }, { endpoint, p256dh, auth }, now) =>
      transact(async () => {
        if (statements.isGone.get(endpoint)) return "gone";
        const holder = statements.byEndpoint.get(endpoint);
        if (holder !== undefined && holder.keeperId !== keeper) return "taken";
        const old = statements.byEndpoint.get(replaces);
        const mine = old?.keeperId === keeper ? old : undefined;
        if (holder !== undefined) {
          // Said before, and the answer was lost; or the browser added itself anew meanwhile.
          if (mine !== undefined && mine.id !== holder.id) without(mine, now, () => statements.remove.run(mine.id));
          return "saved";
        }
        const at = textOf(now);
        if (mine !== undefined) {
          statements.renew.run({ id: mine.id, endpoint, p256dh, auth, label: label ?? mine.label });
          statements.unprove.run({ id: mine.id, at });
          statements.hurryItems.run({ id: mine.id, at });
        } else {
          const gone = statements.gone.get(replaces, keeper);
          if (gone === undefined) return "noSuchPhone";
          if (hasAll(keeper)) return "tooMany";
          const { phoneId, addedAt } = gone;
          statements.insert.run({
            ...{ id: phoneId, keeper, endpoint, p256dh, auth },
            ...{ label: label ?? gone.label, at: addedAt, since: at },
          });
          statements.settleGone.run(replaces, keeper);
        }
        statements.hasten.run(at, keeper);
        return "saved";
      }),

    setPhoneAllowed: (keeper, endpoint, allowed, now) =>
      transact(async () => {
        const known = statements.byEndpoint.get(endpoint);
        if (known === undefined || known.keeperId !== keeper) return false;
        if (allowed === (known.blockedAt === null)) return true;
        const { id } = known;
        const at = textOf(now);
        if (allowed) statements.unprove.run({ id, at });
        else
          without(known, now, () => {
            statements.block.run(at, id);
            statements.dropWaiting.run({ id, at });
          });
        statements.hasten.run(at, keeper);
        return true;
      }),

    removePhone: (keeper, endpoint, now) =>
      transact(async () => {
        statements.settleGone.run(endpoint, keeper);
        const known = statements.byEndpoint.get(endpoint);
        if (known?.keeperId === keeper) without(known, now, () => statements.remove.run(known.id));
      }),

    pruneGonePhones: (before) =>
      transact(async () => {
        statements.pruneGone.run(textOf(before));
      }),
  };
}

/** How many endpoints that are gone one server remembers. Our choice: a household loses a few in a year. */
const gonePhonesMax = 500;

/**
 * A push service says that an endpoint is gone. A phone that has it is removed with all that waits for it; one that has got a
 * newer endpoint meanwhile stays as it is.
 * @returns whether the phone has a newer endpoint
 */
export function createGonePhones(database: Database.Database) {
  const { byId, keepGone, trimGone, remove, hasten } = statementsOn(database);
  const lost = createLostNotifications(database);
  return ({ id, endpoint, keeper, label }: GonePhoneOf, at: Instant): boolean => {
    const known = byId.get(id);
    const isRenewed = known !== undefined && known.endpoint !== endpoint;
    const isItself = known !== undefined && !isRenewed;
    keepGone.run({
      ...{ endpoint, at: textOf(at), keeper: known?.keeperId ?? keeper, label: known?.label ?? label },
      ...{ phone: isItself ? id : null, addedAt: known?.addedAt ?? textOf(at) },
    });
    trimGone.run(gonePhonesMax);
    if (isItself) {
      const topics = lost.topicsOf(id);
      remove.run(id); // its items go with it (ON DELETE CASCADE): nobody is there to read them
      lost.mark(known.keeperId, "push", topics, at);
    }
    hasten.run(textOf(at), keeper);
    return isRenewed;
  };
}

interface GonePhoneOf {
  readonly id: string;
  readonly endpoint: string;
  readonly keeper: string;
  readonly label: string;
}

interface PhoneRow {
  readonly id: string;
  readonly keeperId: string;
  readonly endpoint: string;
  readonly p256dh: string;
  readonly auth: string;
  readonly label: string;
  readonly addedAt: string;
  readonly blockedAt: string | null;
}

function statementsOn(database: Database.Database) {
  return {
    byEndpoint: database.prepare<[string], PhoneRow>(`SELECT * FROM "Phone" WHERE "endpoint" = ?`),
    byId: database.prepare<[string], PhoneRow>(`SELECT * FROM "Phone" WHERE "id" = ?`),
    count: database.prepare<[string], number>(`SELECT count(*) FROM "Phone" WHERE "keeperId" = ?`).pluck(),
    isGone: database.prepare<[string]>(`SELECT 1 FROM "GonePhone" WHERE "endpoint" = ?`),
    gone: database.prepare<[string, string], { phoneId: string; label: string; addedAt: string }>(
      `SELECT "phoneId", "label", "addedAt" FROM "GonePhone"
       WHERE "endpoint" = ? AND "keeperId" = ? AND "phoneId" IS NOT NULL`,
    ),
    keepGone: database.prepare(
      `INSERT INTO "GonePhone" ("endpoint", "keeperId", "goneAt", "phoneId", "label", "addedAt")
       VALUES (@endpoint, @keeper, @at, @phone, @label, @addedAt) ON CONFLICT ("endpoint") DO NOTHING`,
    ),
    trimGone: database.prepare(
      `DELETE FROM "GonePhone" WHERE "endpoint" IN
         (SELECT "endpoint" FROM "GonePhone" ORDER BY "goneAt" DESC, "endpoint" LIMIT -1 OFFSET ?)`,
    ),
    settleGone: database.prepare(`UPDATE "GonePhone" SET "phoneId" = NULL WHERE "endpoint" = ? AND "keeperId" = ?`),
    pruneGone: database.prepare(`DELETE FROM "GonePhone" WHERE "goneAt" < ?`),
    insert: database.prepare(
      `INSERT INTO "Phone" ("id", "keeperId", "endpoint", "p256dh", "auth", "label", "addedAt", "endpointSince")
       VALUES (@id, @keeper, @endpoint, @p256dh, @auth, @label, @at, @since)`,
    ),
    update: database.prepare(
      `UPDATE "Phone" SET "keeperId" = @keeper, "p256dh" = @p256dh, "auth" = @auth, "label" = @label, "problem" = NULL
       WHERE "id" = @id`,
    ),
    renew: database.prepare(
      `UPDATE "Phone" SET "endpoint" = @endpoint, "p256dh" = @p256dh, "auth" = @auth, "label" = @label, "problem" = NULL
       WHERE "id" = @id`,
    ),
    unprove: database.prepare(
      `UPDATE "Phone" SET "lastAcceptedAt" = NULL, "lastShownAt" = NULL, "blockedAt" = NULL, "endpointSince" = @at
       WHERE "id" = @id`,
    ),
    block: database.prepare(`UPDATE "Phone" SET "blockedAt" = ? WHERE "id" = ?`),
    remove: database.prepare(`DELETE FROM "Phone" WHERE "id" = ?`),
    dropItems: database.prepare(`DELETE FROM "OutboxItem" WHERE "phoneId" = ?`),
    dropWaiting: database.prepare(
      `UPDATE "OutboxItem" SET "phase" = 'givenUp', "settledAt" = @at, "problem" = 'its browser may not show notices'
       WHERE "phoneId" = @id AND "phase" = 'waiting'`,
    ),
    // What was put off since the old endpoint failed need not wait any longer.
    hurryItems: database.prepare(
      `UPDATE "OutboxItem" SET "dueAt" = @at WHERE "phoneId" = @id AND "phase" = 'waiting' AND "dueAt" > @at`,
    ),
    hasten: database.prepare(
      `UPDATE "Call" SET "nextAt" = ? WHERE "yardId" IN (SELECT "yardId" FROM "Member" WHERE "keeperId" = ?)`,
    ),
  };
}
