import { type Instant, minutes } from "../instant.ts";
import type { ActKind } from "./stage.ts";
import type { TrainingEvent } from "./trainingEvent.ts";

/**
 * A bout: birds about the feeder, from the first event of theirs to the last before a pause. One bird that hops off and on again is one bout, and
 * so are several birds at once: no sensor tells birds apart, so what is counted is a property of the site.
 */
export interface Bout {
  readonly from: Instant;
  readonly to: Instant;
  readonly visits: number;
  readonly presses: number;
  readonly deposits: number; // that were not rejected
}

/** Longer without any event of a bird: another bout begins. Our choice; birds that wait for food come back within a minute or two. */
const boutGap = minutes(5);

/** @param events of one feeder, in order of time */
export function boutsOf(events: readonly TrainingEvent[]): readonly Bout[] {
  const bouts: OpenBout[] = [];
  for (const event of events) {
    const kind = birdEventKind(event);
    if (kind === null) continue;
    let bout = bouts.at(-1);
    if (bout === undefined || event.recordedAt - bout.to > boutGap) {
      bout = { from: event.recordedAt, to: event.recordedAt, visits: 0, presses: 0, deposits: 0 };
      bouts.push(bout);
    }
    bout.to = event.recordedAt;
    bout[kind] += 1;
  }
  return bouts;
}

interface OpenBout {
  readonly from: Instant;
  to: Instant;
  visits: number;
  presses: number;
  deposits: number;
}

function birdEventKind(event: TrainingEvent): "visits" | "presses" | "deposits" | null {
  if (event.kind === "visit") return "visits";
  if (event.kind === "press") return "presses";
  return event.kind === "deposit" && event.metal !== false ? "deposits" : null;
}

export const hasAct = (bout: Bout, act: Exclude<ActKind, "freeFood">): boolean =>
  act === "press" ? bout.presses > 0 : bout.deposits > 0;
