import type { PostedEvent, PostedReport } from "../contract/readReport.ts";

/**
 * Which event numbers of which boot were already in the log, so that a repeated event is taken once. No bodies are stored: a number
 * above the highest of its boot is new, and so is a number in one of the gaps below, which a late event fills. Whatever the log,
 * this stays small: the newest boots, and of each the highest gaps.
 */
export class SeenNumbers {
  readonly #boots = new Map<string, SeenBoot>(); // the one last used is last

  /** @returns those that are new, by seq. */
  sort({ boot, events }: Pick<PostedReport, "boot" | "events">): SortedNumbers {
    if (events.length === 0) return nothing;
    const seen = this.#of(boot);
    const rising = events.every(({ seq }, index) => index === 0 || seq > (events[index - 1]?.seq ?? seq));
    const newEvents = (rising ? [...events] : [...events].sort((a, b) => a.seq - b.seq)).filter(({ seq }) =>
      markSeen(seen, seq),
    );
    return { newEvents, duplicates: events.length - newEvents.length };
  }

  #of(boot: string): SeenBoot {
    const known = this.#boots.get(boot);
    if (known && this.#boots.size === 1) return known;
    const seen = known ?? { highest: 0, gaps: [] };
    this.#boots.delete(boot);
    this.#boots.set(boot, seen);
    for (const oldest of this.#boots.keys()) {
      if (this.#boots.size <= bootsRemembered) break;
      this.#boots.delete(oldest);
    }
    return seen;
  }
}

/** More than a feeder's own state has: a feeder that restarts all day long sends its stored events much later. */
const bootsRemembered = 256;
const gapsRemembered = 256;

interface SeenBoot {
  highest: number;
  gaps: Gap[]; // ascending, none touching the next
}

interface Gap {
  readonly from: number;
  readonly to: number;
}

interface SortedNumbers {
  readonly newEvents: readonly PostedEvent[];
  readonly duplicates: number;
}

const nothing: SortedNumbers = { newEvents: [], duplicates: 0 };

function markSeen(seen: SeenBoot, seq: number): boolean {
  const { highest, gaps } = seen;
  if (seq > highest) {
    if (seq > highest + 1) gaps.push({ from: highest + 1, to: seq - 1 });
    if (gaps.length > gapsRemembered) gaps.shift();
    seen.highest = seq;
    return true;
  }
  const index = gaps.findIndex(({ from, to }) => from <= seq && seq <= to);
  const gap = gaps[index];
  if (gap === undefined) return false;
  const left = [
    { from: gap.from, to: seq - 1 },
    { from: seq + 1, to: gap.to },
  ].filter(({ from, to }) => from <= to);
  gaps.splice(index, 1, ...left);
  if (gaps.length > gapsRemembered) gaps.shift();
  return true;
}
