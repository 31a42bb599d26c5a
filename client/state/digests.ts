import { signal } from "@preact/signals";
import type { DigestView } from "../../server/contract/api.ts";
import type { ApiResult } from "../api/api.ts";
import { laterApi } from "../api/laterApi.ts";
import { type LocalStore, openLocalStore } from "../offline/localStore.ts";
import { updateConnectionState } from "./home.ts";

/** Digests as loaded, by yard and date. They never change, and the phone stores the newest, to be read without a connection. */
export const digests = signal<readonly DigestView[]>([]);
export const digestError = signal<string | null>(null);

const digestsKey = "digests";
const storedDigestsMax = 20;
let store: LocalStore | null = null;
/** Opened with its screen, not with the first page, which should stay small. */
let opening: Promise<void> | null = null;

/** That yard's digest of that date; without a date the newest that is known. */
export function findDigest(yard: string, date: string | null): DigestView | null {
  const those = digests.value.filter((each) => each.yard === yard && (date === null || each.date === date));
  return those.reduce<DigestView | null>(
    (newest, each) => (newest !== null && newest.date > each.date ? newest : each),
    null,
  );
}

export function openDigests(opened: LocalStore): Promise<void> {
  opening = readStored(opened);
  return opening;
}

async function readStored(opened: LocalStore): Promise<void> {
  store = opened;
  const remembered = await opened.get<readonly DigestView[]>(digestsKey);
  if (remembered !== undefined) setDigests([...remembered, ...digests.value]);
}

export async function loadDigest(yard: string, date: string | null): Promise<ApiResult<DigestView>> {
  opening ??= openLocalStore().then(readStored);
  await opening;
  const result = await laterApi.digest(yard, date);
  updateConnectionState(result);
  digestError.value = result.kind === "problem" ? result.problem.detail : null;
  if (result.kind !== "ok") return result;
  setDigests([...digests.value, result.value]);
  store?.put(digestsKey, digests.value).catch((cause: unknown) => console.warn("A digest could not be stored.", cause));
  return result;
}

/** One for each yard and date, the later version of it, and only the newest few. */
function setDigests(all: readonly DigestView[]): void {
  const held = new Map(all.map((each) => [`${each.yard} ${each.date}`, each]));
  digests.value = [...held.values()].sort((one, other) => one.date.localeCompare(other.date)).slice(-storedDigestsMax);
}
