import type { Instant, Span } from "../instant.ts";
import type { Call, CallWord, Telling } from "./call.ts";

/** A yard as far as silence goes. */
export interface WatchedYard {
  readonly id: string;
  readonly name: string;
  /** The call that speaks of the yard, as it was stored; null where there is none. */
  readonly call: Call | null;
  /** In service only: one that is put away or on the bench can't be missed. */
  readonly feeders: readonly WatchedFeeder[];
}

export interface WatchedFeeder {
  readonly id: string;
  readonly name: string; // as its titles begin
  readonly topic: string; // topicOf(id, "feederSilent")
  readonly lastHeardAt: Instant | null; // null: never heard
  readonly reportEvery: Span;
  /** From when its silence is a fault; null where it was never heard. */
  readonly silentFrom: Instant | null;
  /** Its own `feederSilent` call, as it was stored. */
  readonly call: Call | null;
}

/** What a feeder's `feederSilent` alarm said. */
export interface SilenceWord {
  readonly feeder: string;
  readonly word: CallWord;
}

/** The calls that are to be stored anew (null: removed), each with its next look, and whom to tell. */
export interface YardStep {
  readonly calls: readonly { readonly topic: string; readonly call: Call | null; readonly nextAt: Instant | null }[];
  readonly tellings: readonly Telling[];
}
