import { randomUUID } from "node:crypto";
import { nameKey } from "../domain/names.ts";
import { stillsKeptDaysUsual } from "../domain/pictures/stillSpace.ts";
import type { Ports, YardRow } from "../ports.ts";
import { texts } from "../text/index.ts";
import { tellRemoval } from "./accounts.ts";
import type { FeederKeys } from "./feederKeys.ts";
import { defaultEscalateMinutes } from "./firstYard.ts";
import { removePicturesOf } from "./pictures.ts";

/** Adding and removing yards. */

/** More than anybody needs; each takes time with every request of the home page. Our choice. */
const yardsPerPersonMax = 20;

export type YardAdded =
  | { readonly kind: "added"; readonly id: string }
  | { readonly kind: "tooMany"; readonly why: string };

export async function addYard(
  ports: Ports,
  keeper: string,
  request: Pick<YardRow, "name" | "zone" | "place">,
): Promise<YardAdded> {
  const of = await ports.store.people.membershipsOf(keeper);
  if (of.length >= yardsPerPersonMax) {
    return { kind: "tooMany", why: texts.yards.tooMany(of.length) };
  }
  const id = randomUUID();
  const usual = {
    ...{ digestTime: "07:30", digestWanted: true, practice: false },
    ...{ escalateMinutes: defaultEscalateMinutes, diseaseNotice: null, stillsKeptDays: stillsKeptDaysUsual },
  };
  await ports.store.yards.addYard({ id, ...request, ...usual }, keeper, ports.clock.now());
  ports.liveFeed.reconnect(keeper); // a browser is sent the changes of the yards that it had when it connected
  return { kind: "added", id };
}

export type YardRemoval =
  | { readonly kind: "removed" | "noSuchYard" }
  | { readonly kind: "practice"; readonly why: string }
  | { readonly kind: "wrong"; readonly field: "name"; readonly problem: string };

/**
 * Removes the yard, its feeders, their logs, and the accounts of people who belong to no other yard. @param by whose account
 * stays
 */
export async function removeYard(
  ports: Ports,
  keys: FeederKeys,
  id: string,
  request: { readonly name: string },
  by: string,
): Promise<YardRemoval> {
  const { yards, people } = ports.store;
  const yard = (await yards.yards()).find((each) => each.id === id);
  if (!yard) return { kind: "noSuchYard" };
  if (yard.practice) return { kind: "practice", why: texts.yards.deletePracticeYard };
  if (nameKey(request.name) !== nameKey(yard.name)) {
    return { kind: "wrong", field: "name", problem: texts.yards.otherName(yard.name) };
  }
  const members = await people.membersOf(id);
  const removed = await yards.removeYard(id, by);
  keys.clearCache();
  await tellRemoval(ports, removed, [id]);
  for (const { person } of members) if (!removed.people.includes(person.id)) ports.liveFeed.reconnect(person.id);
  await removePicturesOf(ports.pictureFiles, [id]);
  return { kind: "removed" };
}
