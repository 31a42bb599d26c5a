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
  /**
   * Takes an archive, or a single file, from somewhere outside. It waits on the disk until it is closed.
   * @param bytesMax more isn't read
   * @throws StoreFull
   */
  open(sent: AsyncIterable<Uint8Array>, bytesMax: number): Promise<OpenArchive | "tooLarge" | "unreadable">;
}

export interface OpenArchive {
  /** By name, with the octets of each once it is unpacked. A single file that is no archive has the name `""`. */
  readonly entries: ReadonlyMap<string, number>;
  /** @throws UnreadableArchive where its octets aren't what the archive says of them */
  read(name: string): AsyncIterable<Uint8Array>;
  close(): Promise<void>;
}

/** An archive is damaged, or isn't what it says. */
export class UnreadableArchive extends Error {
  override readonly name = "UnreadableArchive";
}
