import { readdirSync } from "node:fs";
import { describe, expect, it, vi } from "vitest";
import { createGuessEstimator } from "../../server/adapters/guessEstimator.ts";
import { milliseconds } from "../../server/domain/instant.ts";

const threads = () => readdirSync("/proc/self/task").length;

describe("the estimate of how easily a passphrase is guessed", () => {
  it("recognises common words and the person's own name", async () => {
    const guesses = createGuessEstimator();
    expect(await guesses.estimate("password", [])).toEqual({ score: 0, warning: "topTen" });
    expect(await guesses.estimate("Alder Croft", ["Alder Croft"])).toMatchObject({ score: 0, warning: "userInputs" });
    expect(await guesses.estimate("corvids carry corks to Larch", ["Ada"])).toEqual({ score: 4, warning: null });
  });

  it("answers questions asked at once, each with its own estimate", async () => {
    const guesses = createGuessEstimator();
    const estimates = ["password", "corvids carry corks to Larch", "12345678"].map((each) =>
      guesses.estimate(each, []),
    );
    expect((await Promise.all(estimates)).map(({ score }) => score)).toEqual([0, 4, 0]);
  });

  it("ends its thread after a while without a question, and starts another for the next one", async () => {
    const guesses = createGuessEstimator(milliseconds(1));
    const before = threads();
    expect((await guesses.estimate("password", [])).score).toBe(0);
    await vi.waitFor(() => expect(threads()).toBeLessThanOrEqual(before), { timeout: 10_000 });
    expect((await guesses.estimate("password", [])).score).toBe(0);
  });
});
