import type { Instant } from "../domain/instant.ts";

/**
 * A row's place in a list that goes backwards in time: several rows may have the same moment, and they are in the order of their ids. A
 * page that goes on from the last row of the one before loses none of them.
 */
export interface RowPlace {
  readonly at: Instant;
  readonly id: string;
}
