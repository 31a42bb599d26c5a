import fc from "fast-check";
import { describe, expect, it } from "vitest";
import type { Alarm } from "../../../server/domain/alarms/alarm.ts";
import {
  type AlarmStep,
  acknowledge,
  advanceAlarm,
  alarmLookAt,
  allowedArrows,
  phaseOf,
  returnedKept,
  shelve,
  shelvedMax,
} from "../../../server/domain/alarms/lifeCycle.ts";
import { noticeOf } from "../../../server/domain/alarms/notices.ts";
import type { AlarmChange, Notice } from "../../../server/domain/facts.ts";
import { type Fault, type FaultRule, ruleOf } from "../../../server/domain/faults.ts";
import { after, hours, type Instant, instantOf, minutes } from "../../../server/domain/instant.ts";

const start = instantOf("2026-12-01T06:00:00Z");
const minutesOn = (at: Instant, count: number): Instant => after(at, minutes(count));
const kind = "trayJammed";
const teller = { id: "rowan", settings: { name: "Rowan", practice: false } };
const jam: Fault = { kind, reason: "Three portions ran and nothing fell.", evidence: [], sure: null };
const rule: FaultRule = { ...ruleOf(kind), onDelay: minutes(2), offDelay: minutes(3) };

/**
 * A day in the life of one alarm, a sign a minute: `!` the fault is there, `.` it is not, `a` it is there and the keeper
 * acknowledges, `s` it is there and the keeper shelves for ten minutes, `p` it is there but the feeder is paused, `-` it
 * is not and the feeder is paused.
 */
function play(signs: string, rules: FaultRule = rule) {
  let alarm: Alarm | null = null;
  const arrows: string[] = [];
  const told: string[] = [];
  const take = (step: AlarmStep, minute: number) => {
    for (const change of step.changes) {
      arrows.push(`${minute} ${change.from}>${change.to}`);
      const notice = noticeOf(teller, change, alarm);
      if (notice) told.push(`${minute} ${notice.quiet ? "quietly " : ""}${notice.title}`);
    }
    alarm = step.alarm;
  };
  for (const [minute, sign] of [...signs].entries()) {
    const context = { kind, rule: rules, now: after(start, minutes(minute)) } as const;
    const suppressed = sign === "p" || sign === "-" ? "the feeder is paused" : null;
    take(advanceAlarm(alarm, sign === "." || sign === "-" ? null : jam, { ...context, suppressed }), minute);
    if (sign === "a") take(acknowledge(alarm, "Ada", context), minute);
    if (sign === "s") take(shelve(alarm, after(context.now, minutes(10)), "Ada", context), minute);
  }
  return { arrows, told, alarm: alarm as Alarm | null };
}

describe("an alarm", () => {
  it("keeps quiet about a fault that flickers", () => {
    const { told, arrows } = play("!!.!!.!.!!.".repeat(20));
    expect(told).toEqual([]);
    expect(arrows.length).toBeGreaterThan(20); // the flicker is on record all the same
  });

  it("is raised once the fault has lasted its on-delay, and not a minute before", () => {
    expect(play("!!").told).toEqual([]);
    expect(play("!!!").told).toEqual(["2 Rowan: tray jammed"]);
    expect(play("!!!").arrows).toEqual(["0 normal>suspected", "2 suspected>unacknowledged"]);
  });

  it("returns only after the fault has stayed away its off-delay", () => {
    expect(play("!!!...!...!...!").told).toEqual(["2 Rowan: tray jammed"]); // three minutes apart: the same alarm
    expect(play("!!!....").arrows.at(-1)).toBe("6 unacknowledged>returnedUnacknowledged");
    expect(play("!!!....").told).toEqual(["2 Rowan: tray jammed", "6 quietly Rowan: back to normal"]);
  });

  it("ends quietly once acknowledged and gone", () => {
    expect(play("!!!a....").arrows.slice(2)).toEqual(["3 unacknowledged>acknowledged", "7 acknowledged>normal"]);
    expect(play("!!!a....").told.at(-1)).toBe("7 quietly Rowan: back to normal");
  });

  it("corrects the screen without a second sound where the fault comes back unacknowledged within the hour", () => {
    const back = `!!!${".".repeat(20)}!!!`;
    expect(play(back).told).toEqual([
      "2 Rowan: tray jammed",
      "6 quietly Rowan: back to normal",
      "25 quietly Rowan: tray jammed",
    ]);
  });

  it("sounds again where the fault comes back hours later, though nobody acknowledged the first", () => {
    expect(play(`!!!${".".repeat(90)}!!!`).told.at(-1)).toBe("95 Rowan: tray jammed");
  });

  it("stops asking to be acknowledged a day after it went", () => {
    const { arrows, alarm } = play(`!!!${".".repeat(4 + 24 * 60)}`);
    expect(arrows.at(-1)).toBe(`${6 + 24 * 60} returnedUnacknowledged>normal`);
    expect(alarm).toBeNull();
  });

  it("ends at once where it is acknowledged after it went", () => {
    const gone = play("!!!....").alarm;
    const step = acknowledge(gone, "Ada", { kind, rule, now: minutesOn(start, 7) });
    expect(step.alarm).toBeNull();
    expect(step.changes.map(({ to }) => to)).toEqual(["normal"]);
  });

  it("says nothing on the shelf, and is judged anew when the shelf ends", () => {
    const { arrows, told } = play("!!!s!!!!!!!!!!!");
    expect(arrows.slice(2)).toEqual(["3 unacknowledged>shelved", "13 shelved>unacknowledged"]);
    expect(told).toEqual(["2 Rowan: tray jammed", "13 Rowan: tray jammed"]);
    expect(play("!!!s..............").arrows.at(-1)).toBe("13 shelved>normal");
  });

  it("counts the on-delay from when the fault came back on the shelf", () => {
    expect(play("!!!s........!!!!").arrows.slice(3)).toEqual(["13 shelved>suspected", "14 suspected>unacknowledged"]);
  });

  it("can be shelved before it is raised, for seven days at most, and not into the past", () => {
    const step = shelve(null, minutesOn(start, 400 * 24 * 60), "Ada", { kind, rule, now: start });
    expect(step.alarm).toMatchObject({ phase: "shelved", shelvedUntil: minutesOn(start, 7 * 24 * 60) });
    expect(shelve(null, start, "Ada", { kind, rule, now: start })).toEqual({ alarm: null, changes: [] });
  });

  it("is suppressed by design while the feeder is paused, on the record and untold", () => {
    const { arrows, told } = play("ppppp");
    expect(arrows).toEqual(["0 normal>suppressedByDesign"]);
    expect(told).toEqual([]);
  });

  it("waits its whole on-delay after a suppression, if it was never raised", () => {
    expect(play("ppppp!!!").arrows.slice(1)).toEqual(["5 suppressedByDesign>suspected", "7 suspected>unacknowledged"]);
  });

  it("counts no on-delay across a gap, even one that a pause hid", () => {
    expect(play("!!!....!-!").arrows.at(-1)).toBe("6 unacknowledged>returnedUnacknowledged");
  });

  it("is not told a second time when a suppression ends", () => {
    expect(play("!!!pppp!!").told).toEqual(["2 Rowan: tray jammed"]);
    expect(play("!!!pppp!!").alarm?.phase).toBe("unacknowledged");
    expect(play("!!!appp!!").alarm?.phase).toBe("acknowledged");
  });

  it("says that it is over only after the suppression that hid its end", () => {
    expect(play("!!!p-----").told).toHaveLength(1); // a silent feeder's jam is not known to be gone
    expect(play("!!!p-----....").told.at(-1)).toBe("12 quietly Rowan: back to normal");
  });

  it("is raised at once where its rule has no delay", () => {
    expect(play("!.", { ...rule, onDelay: minutes(0), offDelay: minutes(0) }).arrows).toEqual([
      "0 normal>unacknowledged",
      "1 unacknowledged>returnedUnacknowledged",
    ]);
  });
});

type Move =
  | { readonly kind: "look"; readonly fault: boolean; readonly suppressed: boolean }
  | { readonly kind: "acknowledge" }
  | { readonly kind: "shelve"; readonly minutes: number };

const move: fc.Arbitrary<Move> = fc.oneof(
  {
    weight: 8,
    arbitrary: fc.record({
      kind: fc.constant("look" as const),
      fault: fc.boolean(),
      suppressed: fc.integer({ min: 0, max: 5 }).map((n) => n === 0),
    }),
  },
  { weight: 1, arbitrary: fc.constant({ kind: "acknowledge" as const }) },
  {
    weight: 1,
    arbitrary: fc.record({ kind: fc.constant("shelve" as const), minutes: fc.integer({ min: -5, max: 20_000 }) }),
  },
);
const history = fc.array(fc.tuple(fc.integer({ min: 0, max: 30 }), move), { maxLength: 120, size: "max" });
const someRule = fc
  .tuple(fc.integer({ min: 0, max: 20 }), fc.integer({ min: 0, max: 60 }))
  .map(([on, off]): FaultRule => ({ ...ruleOf(kind), onDelay: minutes(on), offDelay: minutes(off) }));

interface Seen {
  readonly now: Instant;
  readonly move: Move;
  readonly before: Alarm | null;
  readonly step: AlarmStep;
  readonly notices: readonly (readonly [AlarmChange, Notice])[];
}

function live(moves: readonly (readonly [number, Move])[], rules: FaultRule): Seen[] {
  let now = start;
  let alarm: Alarm | null = null;
  return moves.map(([pause, done]) => {
    now = after(now, minutes(pause));
    const context = { kind, rule: rules, now } as const;
    const before = alarm;
    const step: AlarmStep =
      done.kind === "look"
        ? advanceAlarm(before, done.fault ? jam : null, { ...context, suppressed: done.suppressed ? "paused" : null })
        : done.kind === "acknowledge"
          ? acknowledge(before, "Ada", context)
          : shelve(before, after(now, minutes(done.minutes)), "Ada", context);
    alarm = step.alarm;
    const notices = step.changes.flatMap((change) => {
      const notice = noticeOf(teller, change, before);
      return notice ? [[change, notice] as const] : [];
    });
    return { now, move: done, before, step, notices };
  });
}

describe("any history of an alarm", () => {
  it("follows allowed arrows only, and logs each", () => {
    fc.assert(
      fc.property(history, someRule, (moves, rules) => {
        let phase = "normal";
        for (const { step } of live(moves, rules)) {
          for (const { from, to } of step.changes) {
            expect(from).toBe(phase);
            expect(allowedArrows[from]).toContain(to);
            phase = to;
          }
          expect(phaseOf(step.alarm)).toBe(phase);
        }
      }),
    );
  });

  it("raises nothing before the fault was seen without a break for its on-delay", () => {
    fc.assert(
      fc.property(history, someRule, (moves, rules) => {
        let thereSince: Instant | null = null;
        for (const { now, move: done, before, step } of live(moves, rules)) {
          if (done.kind !== "look") continue;
          thereSince = done.fault ? (thereSince ?? now) : null;
          const raisedNow = step.changes.some(({ to }) => to === "unacknowledged");
          const wasRaised = before?.phase === "suppressedByDesign" && before.raised !== null;
          if (!raisedNow || wasRaised) continue;
          expect(thereSince).not.toBeNull();
          expect(now - (thereSince ?? now)).toBeGreaterThanOrEqual(rules.onDelay);
        }
      }),
    );
  });

  it("never stays on the shelf past its end, nor longer than seven days", () => {
    fc.assert(
      fc.property(history, someRule, (moves, rules) => {
        for (const { now, move: done, step } of live(moves, rules)) {
          if (step.alarm?.phase !== "shelved") continue;
          expect(step.alarm.shelvedUntil - step.alarm.shelvedAt).toBeLessThanOrEqual(shelvedMax);
          if (done.kind === "look") expect(now).toBeLessThan(step.alarm.shelvedUntil);
        }
      }),
    );
  });

  it("tells only a raise and a return, wakes nobody with good news, and never sounds twice without an end between", () => {
    fc.assert(
      fc.property(history, someRule, (moves, rules) => {
        let sounding = false;
        for (const { step, notices } of live(moves, rules)) {
          for (const change of step.changes) {
            const notice = notices.find(([noticed]) => noticed === change)?.[1];
            const ends = change.to === "normal" || change.to === "returnedUnacknowledged";
            if (notice) expect(ends || change.to === "unacknowledged").toBe(true);
            if (notice && ends) expect(notice.quiet).toBe(true);
            if (notice && !notice.quiet) {
              expect(sounding).toBe(false);
              sounding = true;
            }
            if (ends || change.to === "shelved") sounding = false;
          }
          if (step.alarm?.phase === "suppressedByDesign" && step.alarm.raised === null) sounding = false;
        }
      }),
    );
  });

  it("changes nothing more at a second look at the same moment, and survives JSON", () => {
    fc.assert(
      fc.property(history, someRule, fc.boolean(), (moves, rules, there) => {
        for (const { now, step } of live(moves, rules)) {
          expect(JSON.parse(JSON.stringify(step.alarm))).toEqual(step.alarm);
          const context = { kind, rule: rules, now, suppressed: null } as const;
          const once = advanceAlarm(step.alarm, there ? jam : null, context);
          expect(advanceAlarm(once.alarm, there ? jam : null, context)).toEqual({ alarm: once.alarm, changes: [] });
        }
      }),
    );
  });

  it("loses nothing where it is looked at only when it said that time may move it", () => {
    fc.assert(
      fc.property(history, someRule, fc.boolean(), (moves, rules, there) => {
        const { now, step } = live(moves, rules).at(-1) ?? { now: start, step: { alarm: null } };
        const fault = there ? jam : null;
        const context = { kind, rule: rules, suppressed: null } as const;
        let patient = advanceAlarm(step.alarm, fault, { ...context, now }).alarm;
        let eager = patient;
        let lookAt = patient === null ? null : alarmLookAt(patient, rules);
        for (let minute = 1; minute < 40; minute++) {
          const then = minutesOn(now, minute);
          eager = advanceAlarm(eager, fault, { ...context, now: then }).alarm;
          if (lookAt !== null && then >= lookAt) {
            patient = advanceAlarm(patient, fault, { ...context, now: then }).alarm;
            lookAt = patient === null ? null : alarmLookAt(patient, rules);
          }
          expect(phaseOf(patient)).toBe(phaseOf(eager));
        }
      }),
    );
  });

  it("reaches every phase in these histories", () => {
    const reached = new Set(
      fc
        .sample(fc.tuple(history, someRule), { numRuns: 200, seed: 7 })
        .flatMap(([moves, rules]) => live(moves, rules).map(({ step }) => phaseOf(step.alarm))),
    );
    expect([...reached].sort()).toEqual(Object.keys(allowedArrows).sort());
    expect(returnedKept).toBe(hours(24));
    expect(shelvedMax).toBe(hours(7 * 24));
  });
});
