import type Database from "better-sqlite3";
import type { Instant } from "../../domain/instant.ts";
import { phonesPerPersonMax } from "../../domain/push/reachability.ts";
import type { KeeperStore, PhoneOperation, RenewPhoneResult, SavePhoneResult } from "../../ports.ts";
import { goneEndpoints } from "./goneEndpoints.ts";
import { createLostNotifications } from "./lostNotifications.ts";
import type { Connections } from "./openStore.ts";
import { escalationsDue, type PhoneColumns, phoneItemStatements, phoneStatements } from "./phoneStatements.ts";
import { instantFrom, phoneFrom, textOf } from "./rows.ts";

type PhoneStore = Pick<KeeperStore, PhoneOperation>;

/** The phones of all people, and the endpoints that push services have declared gone. */
export const createPhoneStore = (connections: Connections): PhoneStore => ({
  ...phoneLists(connections),
  ...phoneChanges(connections),
});

function phoneLists({ reader }: Connections): Pick<PhoneStore, "phonesOf" | "gonePhonesOf"> {
  return {
    async phonesOf(keeper) {
      return (await reader.phone.findMany({ where: { keeperId: keeper }, orderBy: { addedAt: "asc" } })).map(phoneFrom);
    },

    async gonePhonesOf(keeper) {
      const where = { keeperId: keeper, phoneId: { not: null } };
      const found = await reader.gonePhone.findMany({ where, orderBy: { goneAt: "desc" } });
      return found.map(({ endpoint, label, goneAt }) => ({ endpoint, label, goneAt: instantFrom(goneAt) }));
    },
  };
}

function phoneChanges({ direct, transact }: Connections): Omit<PhoneStore, "phonesOf" | "gonePhonesOf"> {
  const tables = phoneTables(direct);
  const { phones, gone, items, makeEscalationsDue } = tables;
  return {
    savePhone: (phone) =>
      transact(async () => {
        const result = savePhone(tables, phone);
        if (result === "saved") makeEscalationsDue.run(textOf(phone.addedAt), phone.keeper);
        return result;
      }),

    renewPhone: (of, by, now) => transact(async () => renewPhone(tables, { ...of, ...by, now })),

    setPhoneAllowed: (keeper, endpoint, allowed, now) =>
      transact(async () => {
        const known = phones.byEndpoint.get(endpoint);
        if (known === undefined || known.keeperId !== keeper) return false;
        if (allowed === (known.blockedAt === null)) return true;
        const { id } = known;
        const at = textOf(now);
        if (allowed) phones.forgetContact.run({ id, at });
        else
          recordLossBy(tables, known, now, () => {
            phones.block.run(at, id);
            items.giveUpWaiting.run({ id, at });
          });
        makeEscalationsDue.run(at, keeper);
        return true;
      }),

    removePhone: (keeper, endpoint, now) =>
      transact(async () => {
        gone.forgetPhone.run(endpoint, keeper);
        const known = phones.byEndpoint.get(endpoint);
        if (known?.keeperId === keeper) recordLossBy(tables, known, now, () => phones.remove.run(known.id));
      }),

    pruneGonePhones: (before) =>
      transact(async () => {
        gone.prune.run(textOf(before));
      }),
  };
}

type PhoneTables = ReturnType<typeof phoneTables>;

const phoneTables = (database: Database.Database) => ({
  phones: phoneStatements(database),
  items: phoneItemStatements(database),
  gone: goneEndpoints(database),
  lost: createLostNotifications(database),
  makeEscalationsDue: escalationsDue(database),
});

/** Takes a phone away from its person, who gets none of its notifications any more: the escalations go other ways. */
function recordLossBy(
  { lost, makeEscalationsDue }: PhoneTables,
  { id, keeperId }: PhoneColumns,
  now: Instant,
  takeAway: () => void,
): void {
  const topics = lost.topicsOf(id);
  takeAway();
  lost.mark(keeperId, "push", topics, now);
  makeEscalationsDue.run(textOf(now), keeperId);
}

const hasAllPhones = ({ phones }: PhoneTables, keeper: string): boolean =>
  (phones.count.get(keeper) ?? 0) >= phonesPerPersonMax;

// --- add -------------------------------------------------------------------------------------------------------------

type NewPhone = Parameters<PhoneStore["savePhone"]>[0];

function savePhone(tables: PhoneTables, phone: NewPhone): SavePhoneResult {
  const { phones, gone } = tables;
  if (gone.has.get(phone.endpoint)) return "gone";
  const known = phones.byEndpoint.get(phone.endpoint);
  if (known !== undefined) return updateKnownPhone(tables, known, phone);
  if (hasAllPhones(tables, phone.keeper)) return "tooMany";
  phones.insert.run({ ...phone, addedAt: textOf(phone.addedAt), endpointSince: null });
  return "saved";
}

function updateKnownPhone(tables: PhoneTables, known: PhoneColumns, phone: NewPhone): SavePhoneResult {
  const { phones, items } = tables;
  const { keeper, p256dh, auth, label, addedAt } = phone;
  const sameKeys = known.p256dh === p256dh && known.auth === auth;
  const changesPerson = known.keeperId !== keeper;
  // Only the browser itself knows its keys: who has none of them would take the phone from its person.
  if (changesPerson && !sameKeys) return "taken";
  if (changesPerson && hasAllPhones(tables, keeper)) return "tooMany";
  // The new person gets nothing that was meant for the one before.
  if (changesPerson) recordLossBy(tables, known, addedAt, () => items.removeItems.run(known.id));
  phones.update.run({ id: known.id, keeper, p256dh, auth, label });
  if (changesPerson || !sameKeys || known.blockedAt !== null) {
    phones.forgetContact.run({ id: known.id, at: textOf(addedAt) });
  }
  return "saved";
}

// --- renew -----------------------------------------------------------------------------------------------------------

interface Renewal {
  readonly keeper: string;
  readonly replaces: string;
  readonly label: string | null;
  readonly endpoint: string;
  readonly p256dh: string;
  readonly auth: string;
  readonly now: Instant;
}

function renewPhone(tables: PhoneTables, renewal: Renewal): RenewPhoneResult {
  const { phones, gone, makeEscalationsDue } = tables;
  const { keeper, replaces, endpoint, now } = renewal;
  if (gone.has.get(endpoint)) return "gone";
  const holder = phones.byEndpoint.get(endpoint);
  if (holder !== undefined && holder.keeperId !== keeper) return "taken";
  const old = phones.byEndpoint.get(replaces);
  const own = old?.keeperId === keeper ? old : undefined;
  if (holder !== undefined) {
    // Renewed before, and the answer was lost; or the browser has added itself again meanwhile.
    if (own !== undefined && own.id !== holder.id) {
      recordLossBy(tables, own, now, () => phones.remove.run(own.id));
    }
    return "saved";
  }
  const result = own === undefined ? restoreGonePhone(tables, renewal) : replaceEndpoint(tables, own, renewal);
  if (result === "saved") makeEscalationsDue.run(textOf(now), keeper);
  return result;
}

function replaceEndpoint({ phones, items }: PhoneTables, own: PhoneColumns, renewal: Renewal): RenewPhoneResult {
  const { endpoint, p256dh, auth, label, now } = renewal;
  const moment = { id: own.id, at: textOf(now) };
  phones.renew.run({ id: own.id, endpoint, p256dh, auth, label: label ?? own.label });
  phones.forgetContact.run(moment);
  items.makeItemsDue.run(moment);
  return "saved";
}

function restoreGonePhone(tables: PhoneTables, renewal: Renewal): RenewPhoneResult {
  const { phones, gone } = tables;
  const { keeper, replaces, endpoint, p256dh, auth, now } = renewal;
  const found = gone.phone.get(replaces, keeper);
  if (found === undefined) return "noSuchPhone";
  if (hasAllPhones(tables, keeper)) return "tooMany";
  const { phoneId: id, addedAt } = found;
  const label = renewal.label ?? found.label;
  phones.insert.run({ id, keeper, endpoint, p256dh, auth, label, addedAt, endpointSince: textOf(now) });
  gone.forgetPhone.run(replaces, keeper);
  return "saved";
}
