import type { FeedingRequest } from "../contract/feedingRequest.ts";
import type { ProgrammeChangeRequest } from "../contract/trainingRequest.ts";
import type { Instant } from "../domain/instant.ts";
import type { TimeSpan } from "../domain/timeSpans.ts";
import type { CountedCaps } from "../domain/training/misplacedCaps.ts";
import type { RowPlace } from "./rowPlace.ts";
import type { StillEvent } from "./stills.ts";

/** The changes of a yard's training programme. */

export interface ProgrammeChangeRow {
  readonly id: string;
  readonly yard: string;
  readonly at: Instant; // when it was done at the feeder
  readonly by: string;
  readonly reason: string;
  readonly content: ProgrammeChangeRequest["content"];
  /** Feeders whose feeding plan it changed, with the plan before; null: they had none. */
  readonly plansBefore: readonly { readonly feeder: string; readonly feeding: FeedingRequest | null }[];
  readonly undone: { readonly at: Instant; readonly by: string } | null;
}

export interface NoteRow {
  readonly id: string;
  readonly yard: string;
  readonly at: Instant; // of what it is about
  readonly by: string;
  readonly text: string;
  readonly feeder: string | null;
  readonly stage: string | null; // of the programme
  readonly changedAt: Instant | null; // null: it is as it was first written
  /** What it was written at: a still of the feeder's camera, which may be deleted since, or an event without one. */
  readonly still: { readonly id: string | null; readonly event: StillEvent | null } | null;
  readonly capsOnDish: number | null; // null: not counted
}

export interface TrainingStore {
  /** All of the yard, in order of time. */
  programmeChanges(yard: string): Promise<readonly ProgrammeChangeRow[]>;
  /** Of the yard's notes about moments in this span, those with a count of caps on the dish, in order of time, at most so many. */
  capCounts(yard: string, within: TimeSpan, most: number): Promise<readonly CountedCaps[]>;
  /** Notes of the yard about moments before this one, or that come after this place, the newest first, at most so many. */
  notes(yard: string, before: Instant | RowPlace, most: number): Promise<readonly NoteRow[]>;
  hasNote(yard: string, id: string): Promise<boolean>;
  /** @returns false where the yard has a note with this id already */
  addNote(note: NoteRow): Promise<boolean>;
  /** @returns false where there is no such note */
  changeNote(yard: string, id: string, changes: Pick<NoteRow, "text" | "changedAt">): Promise<boolean>;
  /** With the rows of its pictures; nothing of its text stays in the file. @returns false where there is no such note */
  removeNote(yard: string, id: string): Promise<boolean>;
}

export interface TrainingTransaction {
  /** @returns false where the yard has a change with this id already: the client repeats it after a lost answer. */
  saveProgrammeChange(change: ProgrammeChangeRow): Promise<boolean>;
  /** Marks a change as undone. @returns as it was before; null where there is none, or it was undone already */
  undoProgrammeChange(
    yard: string,
    id: string,
    undone: NonNullable<ProgrammeChangeRow["undone"]>,
  ): Promise<ProgrammeChangeRow | null>;
}
