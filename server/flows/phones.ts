import { randomUUID } from "node:crypto";
import type { PhonesView, PhoneView } from "../contract/api.ts";
import { type Instant, isoOf } from "../domain/instant.ts";
import { phoneReachability, phonesPerPersonMax } from "../domain/push/reachability.ts";
import type { Phone, Ports, RenewPhoneResult, Subscription } from "../ports.ts";
import { texts } from "../text/index.ts";
import { tryDueEscalations } from "./escalations.ts";
import { maybeIso } from "./views.ts";

/**
 * How a person's phones are added, get a new endpoint, and are removed. Escalations that had reached nobody go on after each
 * change.
 */

export async function phonesView({ clock, store, push }: Ports, keeper: string): Promise<PhonesView> {
  const now = clock.now();
  const [phones, gone] = [await store.keepers.phonesOf(keeper), await store.keepers.gonePhonesOf(keeper)];
  return {
    publicKey: push.publicKey,
    phonesMax: phonesPerPersonMax,
    phones: phones.map((phone) => phoneView(phone, now)),
    gone: gone.map(({ goneAt, ...one }) => ({ ...one, goneAt: isoOf(goneAt) })),
  };
}

const phoneView = (phone: Phone, now: Instant): PhoneView => ({
  id: phone.id,
  endpoint: phone.endpoint,
  label: phone.label,
  problem: phone.problem,
  addedAt: isoOf(phone.addedAt),
  lastAcceptedAt: maybeIso(phone.lastAcceptedAt),
  lastDisplayedAt: maybeIso(phone.lastDisplayedAt),
  blockedAt: maybeIso(phone.blockedAt),
  reachability: phoneReachability(phone, now),
});

/** The result of adding a phone; `reason` is about the field. */
export type PhoneChangeResult =
  | { readonly kind: "done" }
  | { readonly kind: "notAllowed"; readonly field: "endpoint"; readonly reason: string }
  | { readonly kind: "gone" | "taken" | "tooMany"; readonly field: "endpoint"; readonly reason: string }
  | { readonly kind: "noSuchPhone"; readonly field: "endpoint" | "replaces"; readonly reason: string };

/** @param replaces the browser's endpoint until now, if it had one */
export async function addPhone(
  ports: Ports,
  keeper: string,
  { label, replaces, ...by }: Subscription & { readonly label: string | null; readonly replaces: string | null },
): Promise<PhoneChangeResult> {
  const checked = await ports.push.checkEndpoint(by.endpoint);
  if (checked.kind === "refused") return { kind: "notAllowed", field: "endpoint", reason: checked.reason };
  const { keepers } = ports.store;
  const now = ports.clock.now();
  const renewed =
    replaces === null || replaces === by.endpoint
      ? "noSuchPhone"
      : await keepers.renewPhone({ keeper, replaces, label }, by, now);
  if (renewed !== "noSuchPhone") return phoneResult(ports, keeper, renewed);
  const phone = { id: randomUUID(), keeper, ...by, label: label ?? texts.phones.defaultLabel, addedAt: now };
  return phoneResult(ports, keeper, await keepers.savePhone(phone));
}

/** A browser has got a new endpoint instead of one of this person's phone: the phone stays the same. */
export async function renewPhone(
  ports: Ports,
  keeper: string,
  replaces: string,
  by: Subscription,
): Promise<PhoneChangeResult> {
  const checked = await ports.push.checkEndpoint(by.endpoint);
  if (checked.kind === "refused") return { kind: "notAllowed", field: "endpoint", reason: checked.reason };
  const of = { keeper, replaces, label: null };
  return phoneResult(ports, keeper, await ports.store.keepers.renewPhone(of, by, ports.clock.now()));
}

/** The browser reports whether it may show notifications; if not, alarms use the next channel. */
export async function setPhoneAllowed(
  ports: Ports,
  keeper: string,
  endpoint: string,
  allowed: boolean,
): Promise<PhoneChangeResult> {
  const known = await ports.store.keepers.setPhoneAllowed(keeper, endpoint, allowed, ports.clock.now());
  if (!known) return { kind: "noSuchPhone", field: "endpoint", reason: texts.phones.notYours };
  return phoneResult(ports, keeper, "saved");
}

export async function removePhone(ports: Ports, keeper: string, endpoint: string): Promise<void> {
  await ports.store.keepers.removePhone(keeper, endpoint, ports.clock.now());
  ports.liveFeed.announcePhones(keeper);
  await tryDueEscalations(ports);
}

async function phoneResult(ports: Ports, keeper: string, outcome: RenewPhoneResult): Promise<PhoneChangeResult> {
  switch (outcome) {
    case "saved":
      ports.liveFeed.announcePhones(keeper);
      await tryDueEscalations(ports); // an alarm that has reached nobody so far may have waited for this
      return { kind: "done" };
    case "gone":
      return {
        ...{ kind: "gone", field: "endpoint" },
        reason: texts.phones.gone,
      };
    case "taken":
      return {
        kind: "taken",
        field: "endpoint",
        reason: texts.phones.taken,
      };
    case "tooMany":
      return {
        ...{ kind: "tooMany", field: "endpoint" },
        reason: texts.phones.tooMany(phonesPerPersonMax),
      };
    case "noSuchPhone":
      return { kind: "noSuchPhone", field: "replaces", reason: texts.phones.notYours };
  }
}
