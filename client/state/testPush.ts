import type { PhonesView, TestPushView } from "../../server/contract/api.ts";
import type { ApiResult } from "../api/api.ts";

/** The result of a test for one phone: what its push service responded, and whether a display receipt came. */
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
  /** Gets each change, and at the end the phones without a receipt. */
  report(outcomes: readonly TestPushProgress[]): void;
  /** Whether the screen was left. */
  isOver(): boolean;
  readonly pause?: (ms: number) => Promise<void>;
}

/**
 * Polls for the display receipts of a test for half a minute.
 */
export async function awaitTestReceipts(
  test: TestPushView,
  before: PhonesView,
  { load, report, isOver, pause = (ms) => new Promise((resolve) => setTimeout(resolve, ms)) }: Watching,
): Promise<void> {
  // Compared with the times before the test, not with a clock: those of phone and server differ.
  const had = new Map(before.phones.map(({ label, lastDisplayedAt }) => [label, lastDisplayedAt]));
  let known = before;
  const outcomes = (end: "pending" | "missing") =>
    test.outcomes.map(({ label, outcome, text }): TestPushProgress => {
      if (outcome !== "accepted") return { label, text, receipt: "none" };
      const now = known.phones.find((phone) => phone.label === label)?.lastDisplayedAt ?? null;
      return { label, text, receipt: now !== null && now !== had.get(label) ? "displayed" : end };
    });
  report(outcomes("pending"));
  for (let poll = 0; poll < pollsMax; poll++) {
    if (!outcomes("pending").some(({ receipt }) => receipt === "pending")) return;
    await pause(pollMs);
    if (isOver()) return;
    const result = await load();
    if (result.kind === "ok") known = result.value;
    report(outcomes("pending"));
  }
  report(outcomes("missing"));
}
