import type { PhonesView, TestPushView } from "../../server/contract/api.ts";
import type { ApiResult } from "../api/api.ts";

/** The result of a test for one phone: what its push service answered, and whether a display receipt came. */
export interface TestPushProgress {
  readonly label: string;
  readonly text: string;
  /** `none`: its push service did not accept it, so no receipt can come. */
  readonly receipt: "pending" | "displayed" | "missing" | "none";
}

const pollsMax = 20;
const pollMs = 1_500;

export interface Watching {
  load(): Promise<ApiResult<PhonesView>>;
  /** Hears of each change, and at the end of those that never came. */
  told(outcomes: readonly TestPushProgress[]): void;
  /** Whether nobody looks any more. */
  isOver(): boolean;
  readonly pause?: (ms: number) => Promise<void>;
}

/**
 * After a test was sent: looks again and again whether the phones say that it stood on their screens, for half a minute.
 */
export async function awaitTestReceipts(
  test: TestPushView,
  before: PhonesView,
  { load, told, isOver, pause = (ms) => new Promise((resolve) => setTimeout(resolve, ms)) }: Watching,
): Promise<void> {
  // Compared with what stood there before, not with a clock: the phone's and the server's differ.
  const had = new Map(before.phones.map(({ label, lastDisplayedAt }) => [label, lastDisplayedAt]));
  let known = before;
  const outcomes = (end: "pending" | "missing") =>
    test.outcomes.map(({ label, outcome, text }): TestPushProgress => {
      if (outcome !== "accepted") return { label, text, receipt: "none" };
      const now = known.phones.find((phone) => phone.label === label)?.lastDisplayedAt ?? null;
      return { label, text, receipt: now !== null && now !== had.get(label) ? "displayed" : end };
    });
  told(outcomes("pending"));
  for (let look = 0; look < pollsMax; look++) {
    if (!outcomes("pending").some(({ receipt }) => receipt === "pending")) return;
    await pause(pollMs);
    if (isOver()) return;
    const result = await load();
    if (result.kind === "ok") known = result.value;
    told(outcomes("pending"));
  }
  told(outcomes("missing"));
}
