// @vitest-environment happy-dom
import { describe, expect, inject, it } from "vitest";
import type { LocatedViolation } from "./run.ts";
import { runScenario, type ScenarioResult } from "./runScenario.ts";
import { readScreens } from "./screens.tsx";
import { openScenarioServer } from "./server.ts";
import { summaryText } from "./summary.ts";

/**
 * The short form belongs to the usual tests: some hours in which everything goes wrong more often. `npm run test:household`
 * plays a week, `SEED=… npm run test:household` that very week again.
 */
const isWeek = process.env.HOUSEHOLD === "week";
const days = Number(process.env.HOUSEHOLD_DAYS ?? 7);
const seeds = process.env.SEED ? [Number(process.env.SEED)] : isWeek ? [20_261] : [3];
const form = isWeek ? { steps: days * 1_440, screensEverySteps: 97 } : { steps: 420, hurry: 6, screensEverySteps: 31 };

/** What the short form may miss by chance; the week must reach all of it. */
const rare: readonly string[] = isWeek
  ? []
  : ["mails", "ordersOfTwo", "withdrawn", "deadHandedIn", "overdueSeen", "restarts"];

describe("a scenario of failures", { timeout: isWeek ? 40 * 60_000 : 300_000 }, () => {
  it.each(seeds)("is never shown anything better than what is known (seed %i)", async (seed) => {
    const server = await openScenarioServer(inject("migratedDatabase"), "2026-01-12T05:00:00Z");
    let played: ScenarioResult;
    try {
      played = await runScenario(server, seed, { ...form, readScreens });
    } finally {
      await server.close();
    }
    const replay = isWeek ? `SEED=${seed} npm run test:household` : `SEED=${seed} npm run test:only -- test/scenarios`;
    if (isWeek || played.violations.length > 0) console.log(summaryText(played, seed, replay));
    expect(played.violations.map(short).slice(0, 40), `replay: ${replay}`).toEqual([]);
    for (const [what, times] of Object.entries(played.cases)) {
      if (!rare.includes(what)) expect(times, `the week must reach: ${what}`).toBeGreaterThan(0);
    }
  });
});

const short = ({ rule, step, at, about, displayed, known }: LocatedViolation): string =>
  `${rule} at step ${step} (${at}), ${about}: shown ${displayed}; known ${known}`;
