import type { PhonesView, TestPushView } from "../../server/contract/api.ts";
import type { Answer } from "../reach/api.ts";

/** How a test went for one phone: what its push service said, and what the phone itself said then. */
export interface TestOutcome {
  readonly label: string;
  readonly words: string;
  /** `none`: its push service didn't take it, so nothing can come. */
  readonly proof: "awaited" | "shown" | "missing" | "none";
}

const looks = 20;
const paceMs = 1_500;

export interface Watching {
  load(): Promise<Answer<PhonesView>>;
  /** Hears of each change, and at the end of those that never came. */
  told(outcomes: readonly TestOutcome[]): void;
  /** Whether nobody looks any more. */
  isOver(): boolean;
  readonly pause?: (ms: number) => Promise<void>;
}

/**
 * After a test was sent: looks again and again whether the phones say that it stood on their screens, for half a minute.
 */
export async function awaitProof(
  test: TestPushView,
  before: PhonesView,
  { load, told, isOver, pause = (ms) => new Promise((resolve) => setTimeout(resolve, ms)) }: Watching,
): Promise<void> {
  // Compared with what stood there before, not with a clock: the phone's and the server's differ.
  const had = new Map(before.phones.map(({ label, lastShownAt }) => [label, lastShownAt]));
  let known = before;
  const outcomes = (end: "awaited" | "missing") =>
    test.outcomes.map(({ label, outcome, words }): TestOutcome => {
      if (outcome !== "accepted") return { label, words, proof: "none" };
      const now = known.phones.find((phone) => phone.label === label)?.lastShownAt ?? null;
      return { label, words, proof: now !== null && now !== had.get(label) ? "shown" : end };
    });
  told(outcomes("awaited"));
  for (let look = 0; look < looks; look++) {
    if (!outcomes("awaited").some(({ proof }) => proof === "awaited")) return;
    await pause(paceMs);
    if (isOver()) return;
    const answer = await load();
    if (answer.kind === "ok") known = answer.value;
    told(outcomes("awaited"));
  }
  told(outcomes("missing"));
}
