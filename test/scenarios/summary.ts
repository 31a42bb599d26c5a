import { rules } from "./feederChecks.ts";
import type { LocatedViolation } from "./run.ts";
import type { ScenarioResult } from "./runScenario.ts";

/** A table of what was judged and found, then the first two of each rule that was broken, with how to see them again. */
export function summaryText({ violations, cases, checks }: ScenarioResult, seed: number, replay: string): string {
  const of = (rule: string): readonly LocatedViolation[] => violations.filter((one) => one.rule === rule);
  const lines = Object.entries(rules).map(
    ([rule, words]) =>
      `${rule.padEnd(18)} ${String(checks[rule] ?? 0).padStart(8)} ${String(of(rule).length).padStart(8)}  ${words}`,
  );
  const first = Object.keys(rules).flatMap((rule) => firstByFeeder(of(rule)).slice(0, 4));
  return [
    `seed ${seed}; replay: ${replay}`,
    "",
    `${"rule".padEnd(18)} ${"checks".padStart(8)} ${"broken".padStart(8)}`,
    ...lines,
    "",
    `reached: ${Object.entries(cases)
      .map(([what, times]) => `${what} ${times}`)
      .join(", ")}`,
    ...(first.length === 0 ? [] : ["", "the first of each:"]),
    ...first.map(
      ({ rule, step, at, about, displayed, known }) =>
        `- ${rule}: seed ${seed}, minute ${step} (${at}), ${about}\n    shown: ${displayed}\n    known: ${known}`,
    ),
  ].join("\n");
}

const firstByFeeder = (found: readonly LocatedViolation[]): readonly LocatedViolation[] => {
  const seen = new Set<string>();
  return found.filter(({ about, known }) => {
    const key = `${about} ${known}`.replace(/\d+/g, "");
    return !seen.has(key) && seen.add(key);
  });
};
