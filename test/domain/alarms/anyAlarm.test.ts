import fc from "fast-check";
import { describe, expect, it } from "vitest";
import {
  advanceAlarm,
  alarmCheckAt,
  alarmStateOf,
  allowedTransitions,
} from "../../../server/domain/alarms/alarmTransitions.ts";
import { after, minutes } from "../../../server/domain/instant.ts";
import { brokenChecks } from "./checks.ts";
import { begin, history, kind, runAlarm, someRule, weak } from "./randomAlarms.ts";

describe("any history of an alarm", () => {
  it("passes every check: transitions, log, delays, latch, shelving, service, responses and notifications", () => {
    fc.assert(
      fc.property(history, someRule, (moves, rule) => {
        expect(Object.fromEntries(brokenChecks(runAlarm(moves, rule), rule))).toEqual({});
      }),
      { numRuns: 600 },
    );
  });

  it("changes nothing at a second check at the same moment", () => {
    fc.assert(
      fc.property(history, someRule, fc.boolean(), (moves, rule, there) => {
        const { now, step } = runAlarm(moves, rule).at(-1) ?? { now: begin, step: { alarm: null } };
        const context = { kind, rule, now, suppressed: null, priority: rule.priority } as const;
        const once = advanceAlarm(step.alarm, there ? weak : null, context);
        expect(advanceAlarm(once.alarm, there ? weak : null, context)).toEqual({ alarm: once.alarm, changes: [] });
      }),
      { numRuns: 300 },
    );
  });

  it("loses nothing where it is checked only at the times that it asks for", () => {
    fc.assert(
      fc.property(history, someRule, fc.boolean(), (moves, rule, there) => {
        const { now, step } = runAlarm(moves, rule).at(-1) ?? { now: begin, step: { alarm: null } };
        const fault = there ? weak : null;
        const context = { kind, rule, suppressed: null, priority: rule.priority } as const;
        let patient = advanceAlarm(step.alarm, fault, { ...context, now }).alarm;
        let eager = patient;
        let lookAt = patient === null ? null : alarmCheckAt(patient, rule);
        for (let minute = 1; minute < 90; minute++) {
          const then = after(now, minutes(minute));
          eager = advanceAlarm(eager, fault, { ...context, now: then }).alarm;
          if (lookAt !== null && then >= lookAt) {
            patient = advanceAlarm(patient, fault, { ...context, now: then }).alarm;
            lookAt = patient === null ? null : alarmCheckAt(patient, rule);
          }
          expect(alarmStateOf(patient)).toBe(alarmStateOf(eager));
        }
      }),
    );
  });

  it("reaches every state and takes every transition of the table", () => {
    const taken = new Set<string>();
    for (const [moves, rule] of fc.sample(fc.tuple(history, someRule), { numRuns: 1_500, seed: 7 })) {
      for (const { step } of runAlarm(moves, rule))
        for (const { from, to } of step.changes) taken.add(`${from} > ${to}`);
    }
    const table = Object.entries(allowedTransitions).flatMap(([from, all]) => all.map((to) => `${from} > ${to}`));
    expect(table.filter((arrow) => !taken.has(arrow))).toEqual([]);
  });
});
