import type { Instant } from "../domain/instant.ts";
import type { SaidAct } from "./pure/loggedActs.ts";

/** A line of a feeder's log, besides of which feeder it is. */
export interface RecordLine {
  readonly at: Instant;
  readonly said: SaidAct | { readonly life: number; readonly report: object } | { readonly patrol: "told" | "looked" };
}
