import type { PostedEvent, PostedReport } from "../contract/readReport.ts";
import { bootLabel } from "../domain/bootNumber.ts";
import type { Instant } from "../domain/instant.ts";
import type { StoredBoot } from "../domain/storedBoots.ts";

/** What the log has of each boot: in a replay it takes the place of the server's stored events. */
export class LoggedBoots {
  readonly #byLabel = new Map<string, Map<string, StoredBoot>>();

  /** Every start with this boot id of which the log has events. */
  of(label: string): readonly StoredBoot[] {
    return [...(this.#byLabel.get(label)?.values() ?? [])];
  }

  /** @param boot with its number @param newEvents by seq */
  record(
    { boot, sentUptime }: Pick<PostedReport, "boot" | "sentUptime">,
    newEvents: readonly Pick<PostedEvent, "seq">[],
    receivedAt: Instant,
  ): void {
    const highest = newEvents.at(-1)?.seq;
    if (highest === undefined) return;
    const label = bootLabel(boot);
    const bootNumbers = this.#byLabel.get(label) ?? new Map<string, StoredBoot>();
    if (highest > (bootNumbers.get(boot)?.highestSeq ?? 0)) {
      const anchor = sentUptime === null ? null : { receivedAt, uptime: sentUptime };
      bootNumbers.set(boot, { boot, highestSeq: highest, anchor });
    }
    this.#byLabel.delete(label);
    this.#byLabel.set(label, bootNumbers);
    for (const oldest of this.#byLabel.keys()) {
      if (this.#byLabel.size <= labelsRemembered) break;
      this.#byLabel.delete(oldest);
    }
  }
}

/** So many starts, each with an id of its own, take some 2 MB. A feeder that starts every hour has as many in a year. */
const labelsRemembered = 10_000;
