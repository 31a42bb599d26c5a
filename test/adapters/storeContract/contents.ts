import type { Role } from "../../../server/contract/api.ts";
import { newFeeder } from "../../../server/domain/feeder.ts";
import { after, days, type Instant, instantOf, type Span } from "../../../server/domain/instant.ts";
import type { Store, YardRow } from "../../../server/ports.ts";
import { feederSettings } from "../../support/feederSettings.ts";
import { notificationFixture } from "../../support/notificationFixture.ts";
import { phoneFixture } from "../../support/phoneFixture.ts";

/** What the rules fill a store with. */

export const now = instantOf("2026-11-25T06:00:00Z");
export const later = (span: Span): Instant => after(now, span);
export const nextWeek = later(days(7));

export const alder: YardRow = {
  id: "alder",
  name: "Alder Croft",
  zone: "Europe/Stockholm",
  place: null,
  digestTime: "07:30",
  digestWanted: true,
  practice: false,
  escalateMinutes: 15,
  diseaseNotice: null,
  stillsKeptDays: 30,
};

/** An account without a yard, as the first sign-in makes one. */
export async function addPerson({ keepers }: Store, id: string, name: string, at = now): Promise<void> {
  await keepers.openFirstSignIn(`first-sign-in-${id}`, at);
  await keepers.useFirstSignIn(`first-sign-in-${id}`, { id, name, passphraseHash: `hash of ${id}` }, at);
}

/** Alder Croft, which Ada keeps. */
export async function addAlder(store: Store): Promise<void> {
  await addPerson(store, "ada", "Ada");
  await store.yards.addYard(alder, "ada", now);
}

/** Two yards: Ada keeps Alder Croft, Bo another one. */
export async function addTwoYards(store: Store): Promise<void> {
  await addAlder(store);
  await addPerson(store, "bo", "Bo");
  await store.yards.addYard({ ...alder, id: "other", name: "Other" }, "bo", now);
}

export async function join(store: Store, id: string, name: string, role: Role = "helper", yard = alder.id) {
  await store.people.addInvite(`invite-${id}`, { yard, role, expiresAt: nextWeek }, now);
  return store.people.useInvite(`invite-${id}`, id, { name, passphraseHash: "-" }, now);
}

export const newFeederOf = (yard: string, id: string, name = "Rowan") => ({
  ...{ id, yard, keyHash: `key of ${id}`, practice: false, firstEntry: JSON.stringify({ feeder: id }) },
  state: newFeeder(feederSettings({ name }), now),
});

export const addFeeder = ({ yards }: Store, id: string, yard = alder.id, at = now) =>
  yards.addFeeder(newFeederOf(yard, id), at);

/** A phone as it is added. */
export function newPhone(id: string, keeper: string, addedAt = phoneFixture().addedAt) {
  const { lastAcceptedAt, lastDisplayedAt, problem, blockedAt, ...added } = phoneFixture({ id, keeper, addedAt });
  return added;
}
export const addPhone = ({ keepers }: Store, id: string, keeper: string) => keepers.savePhone(newPhone(id, keeper));

interface Pushed {
  readonly topic?: string;
  readonly yard?: string;
  readonly feeder?: string | null;
  readonly at?: Instant;
}

export const enqueuePush = (store: Store, person: string, pushed: Pushed = {}) => {
  const { topic = "t", yard = alder.id, feeder = null, at = now } = pushed;
  const content = notificationFixture({ topic });
  return store.transaction((tx) => tx.enqueue({ person, channel: "push", yard, feeder, content }, at));
};

/** Claims all that is due. @returns the ids of the phones */
export const claimedPhones = async ({ outbox }: Store, at = now): Promise<string[]> =>
  (await outbox.claim("push", at, after(at, days(1)), 50)).map((item) =>
    item.channel === "push" ? item.phone.id : "email",
  );
