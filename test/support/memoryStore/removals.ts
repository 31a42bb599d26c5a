import type { RemovalResult } from "../../../server/ports.ts";
import { keyOf, removeWhere, rowsWhere, type Tables } from "./tables.ts";

/** Removing a row with everything that belongs to it. */

export function removeFeeder(tables: Tables, id: string): void {
  const isIts = ({ feeder }: { readonly feeder: string | null }) => feeder === id;
  tables.log.delete(id);
  tables.packs.delete(id);
  tables.alarmChanges.delete(id);
  removeWhere(tables.rollups, isIts);
  removeWhere(tables.orders, isIts);
  removeWhere(tables.refills, isIts);
  removeWhere(tables.actionIds, isIts);
  removeWhere(tables.escalations, isIts);
  removeWhere(tables.items, isIts);
  removeWhere(tables.stills, isIts);
  tables.feeders.delete(id);
}

/** @param stays whose account stays even without a yard; null: everybody's */
export function removeYard(tables: Tables, id: string, stays: string | null): RemovalResult {
  const isIts = ({ yard }: { readonly yard: string | null }) => yard === id;
  const feeders = rowsWhere(tables.feeders, isIts).map((feeder) => feeder.id);
  for (const feeder of feeders) removeFeeder(tables, feeder);
  const members = stays === null ? [] : rowsWhere(tables.members, isIts).map(({ person }) => person);
  const { items, members: people, invites, escalations, digests, programmeChanges, notes, pictures, stills } = tables;
  for (const table of [items, people, invites, escalations, digests, programmeChanges, notes, pictures, stills])
    removeWhere<{ readonly yard: string | null }>(table as Map<string, { readonly yard: string | null }>, isIts);
  tables.yards.delete(id);
  return {
    feeders,
    people: members.filter((person) => person !== stays && removePersonWithoutYards(tables, person)),
  };
}

/** Whoever belongs to no yard has no account. @returns whether it was removed */
export function removePersonWithoutYards(tables: Tables, person: string): boolean {
  if (rowsWhere(tables.members, (member) => member.person === person).length > 0) return false;
  return removePerson(tables, person);
}

export function removePerson(tables: Tables, id: string): boolean {
  const isTheirs = ({ person }: { readonly person: string }) => person === id;
  const isKept = ({ keeper }: { readonly keeper: string }) => keeper === id;
  removeWhere(tables.members, isTheirs);
  removeWhere(tables.sessions, isTheirs);
  removeWhere(tables.resets, isTheirs);
  removeWhere(tables.exportKeys, isTheirs);
  removeWhere(tables.items, isTheirs);
  removeWhere(tables.passkeys, isKept);
  removeWhere(tables.phones, isKept);
  removeWhere(tables.gonePhones, isKept);
  return tables.people.delete(id);
}

/** With its notifications: nobody is there to read them. */
export function removePhone(tables: Tables, id: string): void {
  removeWhere(tables.items, ({ phone }) => phone === id);
  tables.phones.delete(id);
}

export const memberKey = (yard: string, person: string): string => keyOf(yard, person);
