import type { FaultKind, Priority } from "../faults.ts";
import type { Instant } from "../instant.ts";

/** What calls a person; a `note` waits for the digest. */
export type CallPriority = Exclude<Priority, "note">;

/** What became of an alarm, as far as people are told of it. */
export type CallWord =
  | {
      readonly kind: "raised";
      readonly fault: FaultKind;
      readonly priority: CallPriority;
      readonly at: Instant;
      readonly title: string;
      readonly body: string;
      /** It had just gone and nobody had acknowledged it: the screens are corrected, and nobody is woken a second time. */
      readonly sameEpisode: boolean;
    }
  /** It stands already, and grew graver by what it now explains. */
  | {
      readonly kind: "worsened";
      readonly fault: FaultKind;
      readonly priority: CallPriority;
      readonly at: Instant;
      readonly raisedAt: Instant;
      readonly title: string;
      readonly body: string;
    }
  | { readonly kind: "acknowledged"; readonly fault: FaultKind; readonly at: Instant; readonly by: string }
  | {
      readonly kind: "returned";
      readonly fault: FaultKind;
      readonly at: Instant;
      readonly title: string;
      readonly body: string;
    }
  /** Shelved, suppressed or taken out of service: whoever was told is asked for nothing any more. */
  | { readonly kind: "setAside"; readonly fault: FaultKind; readonly at: Instant; readonly words: string };
