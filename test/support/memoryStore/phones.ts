import type { Instant } from "../../../server/domain/instant.ts";
import { phonesPerPersonMax } from "../../../server/domain/push/reachability.ts";
import type {
  KeeperStore,
  PhoneOperation,
  RenewPhoneResult,
  SavePhoneResult,
  Subscription,
} from "../../../server/ports.ts";
import { recordLossBy } from "./lostNotifications.ts";
import type { Access } from "./memoryDatabase.ts";
import { makeEscalationsDue, yardsOf } from "./people.ts";
import { removePhone } from "./removals.ts";
import { changeWhere, compareBy, removeWhere, rowOf, rowsWhere, type StoredPhone, type Tables } from "./tables.ts";

type PhoneStore = Pick<KeeperStore, PhoneOperation>;

export const createPhones = (access: Access): PhoneStore => ({ ...phoneLists(access), ...phoneChanges(access) });

const phoneLists = ({ read }: Access): Pick<PhoneStore, "phonesOf" | "gonePhonesOf"> => ({
  async phonesOf(keeper) {
    const found = rowsWhere(read().phones, (phone) => phone.keeper === keeper);
    return found.sort(compareBy(({ addedAt }) => addedAt)).map(phoneFrom);
  },
  async gonePhonesOf(keeper) {
    const found = rowsWhere(read().gonePhones, (gone) => gone.keeper === keeper && gone.phone !== null);
    return found.sort(compareBy(({ goneAt }) => -goneAt)).map(({ endpoint, label, goneAt }) => {
      return { endpoint, label, goneAt };
    });
  },
});

export const phoneFrom = ({ endpointSince, ...phone }: StoredPhone) => phone;

const phoneChanges = ({ write }: Access): Omit<PhoneStore, "phonesOf" | "gonePhonesOf"> => ({
  savePhone: (phone) =>
    write((tables) => {
      const result = savePhone(tables, phone);
      if (result === "saved") makeEscalationsDue(tables, yardsOf(tables, phone.keeper), phone.addedAt);
      return result;
    }),
  renewPhone: (of, by, now) => write((tables) => renewPhone(tables, { ...of, by, now })),
  setPhoneAllowed: (keeper, endpoint, allowed, now) =>
    write((tables) => {
      const known = withEndpoint(tables, endpoint);
      if (known?.keeper !== keeper) return false;
      if (allowed === (known.blockedAt === null)) return true;
      if (allowed) forgetContact(tables, known.id, now);
      else recordLossBy(tables, known, now, () => block(tables, known, now));
      makeEscalationsDue(tables, yardsOf(tables, keeper), now);
      return true;
    }),
  removePhone: (keeper, endpoint, now) =>
    write((tables) => {
      changeWhere(tables.gonePhones, (gone) => gone.endpoint === endpoint && gone.keeper === keeper, { phone: null });
      const known = withEndpoint(tables, endpoint);
      if (known?.keeper === keeper) recordLossBy(tables, known, now, () => removePhone(tables, known.id));
    }),
  pruneGonePhones: (before) =>
    write((tables) => {
      removeWhere(tables.gonePhones, ({ goneAt }) => goneAt < before);
    }),
});

const withEndpoint = (tables: Tables, endpoint: string) =>
  rowsWhere(tables.phones, (phone) => phone.endpoint === endpoint)[0];

const hasAllPhones = (tables: Tables, keeper: string): boolean =>
  rowsWhere(tables.phones, (phone) => phone.keeper === keeper).length >= phonesPerPersonMax;

/** Nothing proves any more that the phone can be reached. */
const forgetContact = (tables: Tables, id: string, now: Instant) =>
  changeWhere(tables.phones, (phone) => phone.id === id, {
    ...{ lastAcceptedAt: null, lastDisplayedAt: null, blockedAt: null, endpointSince: now },
  });

function block(tables: Tables, { id }: StoredPhone, now: Instant): void {
  changeWhere(tables.phones, (phone) => phone.id === id, { blockedAt: now });
  const isWaiting = (item: { readonly phone: string | null; readonly status: string }) =>
    item.phone === id && item.status === "waiting";
  changeWhere(tables.items, isWaiting, { status: "givenUp", settledAt: now });
}

type NewPhone = Parameters<PhoneStore["savePhone"]>[0];

function savePhone(tables: Tables, phone: NewPhone): SavePhoneResult {
  if (tables.gonePhones.has(phone.endpoint)) return "gone";
  const known = withEndpoint(tables, phone.endpoint);
  if (known !== undefined) return updateKnownPhone(tables, known, phone);
  if (hasAllPhones(tables, phone.keeper)) return "tooMany";
  rowOf(tables.people, phone.keeper);
  const contact = { lastAcceptedAt: null, lastDisplayedAt: null, problem: null, blockedAt: null, endpointSince: null };
  tables.phones.set(phone.id, { ...phone, ...contact });
  return "saved";
}

function updateKnownPhone(tables: Tables, known: StoredPhone, phone: NewPhone): SavePhoneResult {
  const { keeper, p256dh, auth, label, addedAt } = phone;
  const sameKeys = known.p256dh === p256dh && known.auth === auth;
  const changesPerson = known.keeper !== keeper;
  if (changesPerson && !sameKeys) return "taken";
  if (changesPerson && hasAllPhones(tables, keeper)) return "tooMany";
  if (changesPerson) {
    recordLossBy(tables, known, addedAt, () => removeWhere(tables.items, (item) => item.phone === known.id));
  }
  tables.phones.set(known.id, { ...known, keeper, p256dh, auth, label, problem: null });
  if (changesPerson || !sameKeys || known.blockedAt !== null) forgetContact(tables, known.id, addedAt);
  return "saved";
}

interface Renewal {
  readonly keeper: string;
  readonly replaces: string;
  readonly label: string | null;
  readonly by: Subscription;
  readonly now: Instant;
}

function renewPhone(tables: Tables, renewal: Renewal): RenewPhoneResult {
  const { keeper, replaces, by, now } = renewal;
  if (tables.gonePhones.has(by.endpoint)) return "gone";
  const holder = withEndpoint(tables, by.endpoint);
  if (holder !== undefined && holder.keeper !== keeper) return "taken";
  const old = withEndpoint(tables, replaces);
  const own = old?.keeper === keeper ? old : undefined;
  if (holder !== undefined) {
    if (own !== undefined && own.id !== holder.id) recordLossBy(tables, own, now, () => removePhone(tables, own.id));
    return "saved";
  }
  const result = own === undefined ? restoreGonePhone(tables, renewal) : replaceEndpoint(tables, own, renewal);
  if (result === "saved") makeEscalationsDue(tables, yardsOf(tables, keeper), now);
  return result;
}

function replaceEndpoint(tables: Tables, own: StoredPhone, { by, label, now }: Renewal): RenewPhoneResult {
  tables.phones.set(own.id, { ...own, ...subscriptionOf(by), label: label ?? own.label, problem: null });
  forgetContact(tables, own.id, now);
  changeWhere(tables.items, (item) => item.phone === own.id && item.status === "waiting" && item.dueAt > now, {
    dueAt: now,
  });
  return "saved";
}

function restoreGonePhone(tables: Tables, { keeper, replaces, by, label, now }: Renewal): RenewPhoneResult {
  const gone = tables.gonePhones.get(replaces);
  if (gone?.keeper !== keeper || gone.phone === null) return "noSuchPhone";
  if (hasAllPhones(tables, keeper)) return "tooMany";
  const contact = { lastAcceptedAt: null, lastDisplayedAt: null, problem: null, blockedAt: null, endpointSince: now };
  const { addedAt, phone: id } = gone;
  tables.phones.set(id, { id, keeper, ...subscriptionOf(by), label: label ?? gone.label, addedAt, ...contact });
  tables.gonePhones.set(replaces, { ...gone, phone: null });
  return "saved";
}

const subscriptionOf = ({ endpoint, p256dh, auth }: Subscription): Subscription => ({ endpoint, p256dh, auth });
