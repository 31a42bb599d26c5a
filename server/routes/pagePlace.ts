import type { PlaceQuery } from "../contract/placeQuery.ts";
import { type Instant, instantOf } from "../domain/instant.ts";
import type { RowPlace } from "../ports.ts";

/** Where the page begins that a request asks for; null: with the newest row. */
export function pagePlace({ before, beforeId }: PlaceQuery): Instant | RowPlace | null {
  if (before === undefined) return null;
  const at = instantOf(before);
  return beforeId === undefined ? at : { at, id: beforeId };
}
