import { signal } from "@preact/signals";
import type { DigestView } from "../../server/contract/api.ts";
import type { Cupboard } from "../kept/cupboard.ts";
import { type Answer, api } from "../reach/api.ts";
import { noteLine } from "./home.ts";

/** Digests as fetched, by yard and date. They never change once written, and the phone keeps the newest, to be read without a line. */
export const digests = signal<readonly DigestView[]>([]);
export const digestProblem = signal<string | null>(null);

const digestsKey = "digests";
const digestsHeld = 20;
let cupboard: Cupboard | null = null;

/** That yard's digest of that date; without a date the newest that is known. */
export function knownDigest(yard: string, date: string | null): DigestView | null {
  const those = digests.value.filter((each) => each.yard === yard && (date === null || each.date === date));
  return those.reduce<DigestView | null>(
    (newest, each) => (newest !== null && newest.date > each.date ? newest : each),
    null,
  );
}

export async function openDigests(kept: Cupboard): Promise<void> {
  cupboard = kept;
  const remembered = await kept.get<readonly DigestView[]>(digestsKey);
  if (remembered !== undefined) hold([...remembered, ...digests.value]);
}

export async function loadDigest(yard: string, date: string | null): Promise<Answer<DigestView>> {
  const answer = await api.digest(yard, date);
  noteLine(answer);
  digestProblem.value = answer.kind === "problem" ? answer.problem.detail : null;
  if (answer.kind !== "ok") return answer;
  hold([...digests.value, answer.value]);
  cupboard
    ?.put(digestsKey, digests.value)
    .catch((cause: unknown) => console.warn("A digest could not be kept.", cause));
  return answer;
}

/** One of each yard and date, the later word of it, and no more than the newest few. */
function hold(all: readonly DigestView[]): void {
  const held = new Map(all.map((each) => [`${each.yard} ${each.date}`, each]));
  digests.value = [...held.values()].sort((one, other) => one.date.localeCompare(other.date)).slice(-digestsHeld);
}
