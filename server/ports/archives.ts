import type { Instant } from "../domain/instant.ts";

/** Several files as one. */

export interface ArchiveEntry {
  /** With its folder: `photos/abc.jpg`. */
  readonly name: string;
  readonly at: Instant;
  /** Whether it becomes smaller: a picture doesn't. */
  readonly isText: boolean;
  contents(): AsyncIterable<string | Uint8Array>;
}

export interface Archives {
  /**
   * A ZIP, made while it is read, one entry after the other: it needs no more memory than a part of an entry. It ends early, with the
   * error, where the contents of an entry do.
   */
  write(entries: AsyncIterable<ArchiveEntry>): AsyncIterable<Uint8Array>;
}
