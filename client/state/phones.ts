import { signal } from "@preact/signals";
import type { PhonesView } from "../../server/contract/api.ts";
import type { Cupboard } from "../kept/cupboard.ts";
import { type Answer, api } from "../reach/api.ts";
import { noteLine } from "./home.ts";
import { findOwnEndpoint, ownEndpoint } from "./phone.ts";

/** The keeper's phones as the server knows them; null until it was asked. */
export const phones = signal<PhonesView | null>(null);

/** By which address this very browser was switched on when it was last looked at; null where it never was. */
export const rememberedEndpoint = signal<string | null>(null);

const ownKey = "ownPhone";
let cupboard: Cupboard | null = null;

export async function openPhones(kept: Cupboard): Promise<void> {
  cupboard = kept;
  rememberedEndpoint.value = (await kept.get<string>(ownKey)) ?? null;
  await findOwnEndpoint();
  await rememberOwn();
}

export async function loadPhones(): Promise<Answer<PhonesView>> {
  const answer = await api.phones();
  noteLine(answer);
  if (answer.kind === "ok") phones.value = answer.value;
  return answer;
}

/** A browser forgets its own address when leave is withdrawn: then only this tells that it once could be woken. */
export async function rememberOwn(): Promise<void> {
  if (ownEndpoint.value === null || ownEndpoint.value === rememberedEndpoint.value) return;
  rememberedEndpoint.value = ownEndpoint.value;
  await cupboard?.put(ownKey, ownEndpoint.value);
}

/** Switched off by hand: that is no loss to warn of. */
export async function forgetOwn(): Promise<void> {
  rememberedEndpoint.value = null;
  await cupboard?.remove(ownKey);
}
