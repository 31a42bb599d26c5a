import type { Instant } from "../domain/instant.ts";
import type { PictureUsage } from "../domain/pictures/pictureSpace.ts";
import type { PictureRow } from "./pictures.ts";
import type { RowPlace } from "./rowPlace.ts";

/** What a feeder's camera has sent. The files are with those of the other pictures (`PictureFiles`). */
export interface StillRow extends Omit<PictureRow, "note" | "by"> {
  readonly feeder: string;
  /** When it was taken: of its event once that is known, else as the feeder says, else when it arrived. */
  readonly at: Instant;
  /** The event that it belongs to, as the feeder names it; null: none. */
  readonly event: StillEvent | null;
  /** Of the event; null: no report has brought it yet. */
  readonly eventKind: string | null;
  /** Of a deposit; null: of anything else, or not known yet. */
  readonly payment: StillPayment | null;
  readonly starred: boolean;
  readonly who: string | null;
  readonly brought: string | null;
}

export interface StillEvent {
  readonly boot: string;
  readonly seq: number;
}

export type StillPayment = "paid" | "unpaid" | "earnsNothing";

export type StillChanges = Partial<Pick<StillRow, "starred" | "who" | "brought">>;
export type FoundEvent = Pick<StillRow, "at" | "eventKind" | "payment">;

export type AddedStill =
  /** @param removed of older ones that had to go: their files are still there */
  { readonly kind: "added"; readonly removed: readonly string[] } | { readonly kind: "known" | "full" | "noFeeder" };

/** How many stills have the same two labels. */
export interface LabelledStills extends Pick<StillRow, "who" | "brought"> {
  readonly stills: number;
}

export interface StillStore {
  /**
   * Where there is no space, the oldest without a star are removed for it, by the moment at which they arrived.
   * @param most the yard's quota, with this one
   * @returns `known` where the yard has a still with this id; `full` where those with a star take all space. Nothing is stored then
   */
  addStill(still: StillRow, most: PictureUsage): Promise<AddedStill>;
  /** Those taken before that moment, or that come after this place, the newest first, at most `most` of them. */
  stills(yard: string, before: Instant | RowPlace, most: number): Promise<readonly StillRow[]>;
  still(yard: string, id: string): Promise<StillRow | null>;
  /** Those of these ids that the yard has, in any order. */
  stillsById(yard: string, ids: readonly string[]): Promise<readonly StillRow[]>;
  /** Of a feeder that arrived after that moment. */
  countOf(feeder: string, after: Instant): Promise<number>;
  usage(yard: string): Promise<PictureUsage>;
  /** By pair of labels in order, those without one first. */
  labels(yard: string): Promise<readonly LabelledStills[]>;
  /** @returns false where there is no such still */
  changeStill(yard: string, id: string, changes: StillChanges): Promise<boolean>;
  /**
   * Those that arrived after that moment, whose event isn't known yet, or is a deposit that isn't known to be paid: the newest first, at
   * most `most` of them.
   */
  openStills(after: Instant, most: number): Promise<readonly StillRow[]>;
  saveEvent(yard: string, id: string, event: FoundEvent): Promise<void>;
  /** Its files stay: the flow removes them. @returns false where there is no such still */
  removeStill(yard: string, id: string): Promise<boolean>;
  /** Removes at most `most` of the yard's without a star that arrived before that moment, the oldest first. Their files stay. @returns their ids */
  removeOldStills(yard: string, before: Instant, most: number): Promise<readonly string[]>;
  /** Of all yards, by yard and id. */
  allStills(): Promise<readonly Pick<StillRow, "yard" | "id" | "feeder">[]>;
}
