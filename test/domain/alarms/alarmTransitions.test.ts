import { describe, expect, it } from "vitest";
import type { Alarm } from "../../../server/domain/alarms/alarm.ts";
import { alarmEvents } from "../../../server/domain/alarms/alarmEvents.ts";
import {
  acknowledge,
  reset,
  returnToService,
  shelve,
  takeOutOfService,
} from "../../../server/domain/alarms/alarmResponses.ts";
import {
  type AlarmStep,
  advanceAlarm,
  priorityRank,
  returnedMax,
  shelvedMax,
} from "../../../server/domain/alarms/alarmTransitions.ts";
import { type Fault, type FaultRule, ruleOf } from "../../../server/domain/faults.ts";
import { after, days, hours, type Instant, instantOf, minutes } from "../../../server/domain/instant.ts";
import { hiding } from "./randomAlarms.ts";

const start = instantOf("2026-12-01T06:00:00Z");
const minutesOn = (at: Instant, count: number): Instant => after(at, minutes(count));
const kind = "trayJammed";
const jam: Fault = { kind, reason: "Three portions ran and nothing fell.", evidence: [], confidence: null };
const rule: FaultRule = { ...ruleOf(kind), onDelay: minutes(2), offDelay: minutes(3) };
const latching: FaultRule = { ...rule, latched: true };

/**
 * A day in the life of one alarm, a sign a minute. `!` the fault is there, `.` it is not; the same while the feeder is paused:
 * `p` and `-`; while it is silent, so that nobody can know: `?`. `G` it is there and explains something of higher priority. What the
 * keeper does at a look by which the fault is there, and (in brackets) at one by which it is not: `a` (`A`) acknowledges, `s`
 * (`S`) shelves for ten minutes, `r` (`R`) resets, `o` (`O`) takes out of service, `b` (`B`) brings back.
 */
function play(signs: string, rules: FaultRule = rule) {
  let alarm: Alarm | null = null;
  const transitions: string[] = [];
  const raw: string[] = []; // comings and goings without an transition
  const events: string[] = [];
  const take = (step: AlarmStep, minute: number) => {
    for (const { from, to, present } of step.changes) {
      if (from === to) raw.push(`${minute} ${to}: ${present ? "there" : "away"}`);
      else transitions.push(`${minute} ${from}>${to}`);
    }
    const spoken = { settings: { name: "Rowan", practice: false }, explains: [] };
    for (const event of alarmEvents(spoken, step.changes, alarm, step.alarm)) {
      const quietly = event.kind === "raised" && event.sameEpisode ? " quietly" : "";
      events.push(`${minute} ${event.kind}${quietly}`);
    }
    alarm = step.alarm;
  };
  for (const [minute, sign] of [...signs].entries()) {
    const of = { kind, rule: rules, now: minutesOn(start, minute) } as const;
    const suppressed = "p-".includes(sign) ? hiding.pause : sign === "?" ? hiding.silence : null;
    const fault = "!pG".includes(sign) || (sign >= "a" && sign <= "z") ? jam : null;
    const priority = sign === "G" ? "urgent" : rules.priority;
    take(advanceAlarm(alarm, fault, { ...of, suppressed, priority }), minute);
    const act = sign.toLowerCase();
    if (act === "a") take(acknowledge(alarm, { by: "Ada", raisedAt: null }, of), minute);
    if (act === "s") take(shelve(alarm, minutesOn(of.now, 10), "Ada", of), minute);
    if (act === "r") take(reset(alarm, of), minute);
    if (act === "o") take(takeOutOfService(alarm, "The tray is at the workbench.", "Bo", of), minute);
    if (act === "b") take(returnToService(alarm, of), minute);
  }
  return { transitions, raw, events, alarm: alarm as Alarm | null };
}

describe("an alarm", () => {
  it("keeps quiet about a fault that flickers", () => {
    const { events, transitions } = play("!!.!!.!.!!.".repeat(20));
    expect(events).toEqual([]);
    expect(transitions.length).toBeGreaterThan(20); // the flicker is on record all the same
  });

  it("is raised once the fault has lasted its on-delay, and not a minute before", () => {
    expect(play("!!").events).toEqual([]);
    expect(play("!!!").events).toEqual(["2 raised"]);
    expect(play("!!!").transitions).toEqual(["0 normal>suspected", "2 suspected>unacknowledged"]);
  });

  it("returns only after the fault has stayed away its off-delay", () => {
    expect(play("!!!...!...!...!").events).toEqual(["2 raised"]); // three minutes apart: the same alarm
    expect(play("!!!....").transitions.at(-1)).toBe("6 unacknowledged>returnedUnacknowledged");
    expect(play("!!!....").events).toEqual(["2 raised", "6 returned"]);
  });

  it("ends quietly once acknowledged and gone", () => {
    expect(play("!!!a....").transitions.slice(2)).toEqual(["3 unacknowledged>acknowledged", "7 acknowledged>normal"]);
    expect(play("!!!a....").events.at(-1)).toBe("7 returned");
  });

  it("corrects the screen without a second sound where the fault comes back unacknowledged within the hour", () => {
    const back = `!!!${".".repeat(20)}!!!`;
    expect(play(back).events).toEqual(["2 raised", "6 returned", "25 raised quietly"]);
  });

  it("sounds again where the fault comes back hours later, though nobody acknowledged the first", () => {
    expect(play(`!!!${".".repeat(90)}!!!`).events.at(-1)).toBe("95 raised");
  });

  it("stops asking to be acknowledged a day after it went", () => {
    const { transitions, alarm } = play(`!!!${".".repeat(4 + 24 * 60)}`);
    expect(transitions.at(-1)).toBe(`${6 + 24 * 60} returnedUnacknowledged>normal`);
    expect(alarm).toBeNull();
  });

  it("ends at once where it is acknowledged after it went", () => {
    const gone = play("!!!....").alarm;
    const step = acknowledge(gone, { by: "Ada", raisedAt: null }, { kind, rule, now: minutesOn(start, 7) });
    expect(step.alarm).toBeNull();
    expect(step.changes.map(({ to }) => to)).toEqual(["normal"]);
  });

  it("notifies nobody while shelved, and is evaluated again when the shelving ends", () => {
    const { transitions, events } = play("!!!s!!!!!!!!!!!");
    expect(transitions.slice(2)).toEqual(["3 unacknowledged>shelved", "13 shelved>unacknowledged"]);
    expect(events).toEqual(["2 raised", "3 suppressed", "13 raised"]);
    expect(play("!!!s..............").transitions.at(-1)).toBe("13 shelved>normal");
  });

  it("counts the on-delay from when the fault came back on the shelf", () => {
    expect(play("!!!s........!!!!").transitions.slice(3)).toEqual([
      "13 shelved>suspected",
      "14 suspected>unacknowledged",
    ]);
  });

  it("can be shelved before it is raised, for seven days at most, and not into the past", () => {
    const step = shelve(null, minutesOn(start, 400 * 24 * 60), "Ada", { kind, rule, now: start });
    expect(step.alarm).toMatchObject({ state: "shelved", shelvedUntil: minutesOn(start, 7 * 24 * 60) });
    expect(shelve(null, start, "Ada", { kind, rule, now: start })).toEqual({ alarm: null, changes: [] });
  });

  it("is suppressed by design while the feeder is paused: logged, and nobody is notified", () => {
    const { transitions, events } = play("ppppp");
    expect(transitions).toEqual(["0 normal>suppressedByDesign"]);
    expect(events).toEqual([]);
  });

  it("waits its whole on-delay after a suppression, if it was never raised", () => {
    expect(play("ppppp!!!").transitions.slice(1)).toEqual([
      "5 suppressedByDesign>suspected",
      "7 suspected>unacknowledged",
    ]);
  });

  it("counts no on-delay across a gap, even one that a pause hid", () => {
    expect(play("!!!....!-!").transitions.at(-1)).toBe("6 unacknowledged>returnedUnacknowledged");
  });

  it("is put back on the screens when a suppression ends, without a second sound, and not at all where it was acknowledged", () => {
    expect(play("!!!pppp!!").events).toEqual(["2 raised", "3 suppressed", "7 raised quietly"]);
    expect(play("!!!pppp!!").alarm?.state).toBe("unacknowledged");
    expect(play("!!!appp!!").alarm?.state).toBe("acknowledged");
    expect(play("!!!appp!!").events).toEqual(["2 raised", "3 acknowledged", "4 suppressed"]);
  });

  it("notifies of its end only after the suppression that hid it", () => {
    expect(play("!!!p-----").events).toEqual(["2 raised", "3 suppressed"]); // a silent feeder's jam is not known to be gone
    expect(play("!!!p-----....").events.at(-1)).toBe("12 returned");
  });

  it("is raised at once where its rule has no delay", () => {
    expect(play("!.", { ...rule, onDelay: minutes(0), offDelay: minutes(0) }).transitions).toEqual([
      "0 normal>unacknowledged",
      "1 unacknowledged>returnedUnacknowledged",
    ]);
  });
});

describe("an alarm whose fault may have done lasting damage", () => {
  it("stays when the fault is gone, and goes on asking until somebody has seen it", () => {
    const { transitions, events, alarm } = play(`!!!${".".repeat(4 + 26 * 60)}`, latching);
    expect(transitions.slice(2)).toEqual(["6 unacknowledged>latchedUnacknowledged"]); // a day later, too
    expect(events).toEqual(["2 raised"]); // no good news that would end the asking
    expect(alarm?.state).toBe("latchedUnacknowledged");
  });

  it("reports the end of the fault once somebody has acknowledged it, and then waits for a reset", () => {
    const { transitions, events } = play("!!!.....A....R", latching);
    expect(transitions.slice(2)).toEqual([
      "6 unacknowledged>latchedUnacknowledged",
      "8 latchedUnacknowledged>latchedAcknowledged",
      "13 latchedAcknowledged>normal",
    ]);
    expect(events).toEqual(["2 raised", "8 acknowledged", "8 returned"]);
  });

  it("waits for its reset also where it was acknowledged while the fault was there", () => {
    const { transitions, events } = play("!!!a.....", latching);
    expect(transitions.at(-1)).toBe("7 acknowledged>latchedAcknowledged");
    expect(events).toEqual(["2 raised", "3 acknowledged", "7 returned"]);
  });

  it("can't be reset unseen, nor while its fault is there", () => {
    expect(play("!!!....R", latching).alarm?.state).toBe("latchedUnacknowledged");
    expect(play("!!!r", latching).alarm?.state).toBe("unacknowledged");
    expect(play("!!!ar", latching).alarm?.state).toBe("acknowledged");
    expect(play("!!!a....r", latching).alarm?.state).toBe("suspected"); // back again: its on-delay goes on
  });

  it("is raised again where the fault comes back, reset or not", () => {
    expect(play("!!!....!!!", latching).transitions.at(-1)).toBe("9 latchedUnacknowledged>unacknowledged");
    expect(play("!!!....!!!", latching).events).toEqual(["2 raised", "9 raised quietly"]);
    expect(play("!!!a....!!!", latching).events.at(-1)).toBe("10 raised"); // what was seen was another time
  });

  it("is not forgotten on a shelf, out of service or through a pause", () => {
    expect(play("!!!....S...........", latching).transitions.slice(-2)).toEqual([
      "7 latchedUnacknowledged>shelved",
      "17 shelved>latchedUnacknowledged",
    ]);
    expect(play("!!!....O....B", latching).transitions.at(-1)).toBe("12 outOfService>latchedUnacknowledged");
    expect(play("!!!....ppp---", latching).alarm?.state).toBe("latchedUnacknowledged");
    expect(play("!!!a....S...........", latching).alarm?.state).toBe("latchedAcknowledged");
    expect(play("!!!....S...........", latching).events).toEqual(["2 raised", "7 suppressed", "17 raised quietly"]);
  });
});

describe("an alarm out of service", () => {
  it("notifies of nothing however long it lasts, and ends only by hand", () => {
    const { transitions, events, alarm } = play(`!!!o${"!".repeat(9 * 24 * 60)}`);
    expect(transitions.slice(2)).toEqual(["3 unacknowledged>outOfService"]);
    expect(events).toEqual(["2 raised", "3 suppressed"]);
    expect(alarm).toMatchObject({
      outBy: "Bo",
      outSince: minutesOn(start, 3),
      outReason: "The tray is at the workbench.",
    });
  });

  it("is judged by how long its fault has been there when it comes back", () => {
    expect(play("O!!!b!").transitions.slice(1)).toEqual(["4 outOfService>suspected", "5 suspected>unacknowledged"]);
    expect(play("!!!o..B").transitions.at(-1)).toBe("6 outOfService>normal");
    expect(play("O..b!").transitions.at(-1)).toBe("3 outOfService>suspected");
  });

  it("can be taken from a shelf, but can't be shelved as well, and keeps whoever took it out first", () => {
    expect(play("!!!s!o").alarm?.state).toBe("outOfService");
    expect(play("!!!os").alarm?.state).toBe("outOfService");
    const first = play("!!!o").alarm;
    const of = { kind, rule, now: minutesOn(start, 9) } as const;
    expect(takeOutOfService(first, "Another reason.", "Ada", of)).toEqual({ alarm: first, changes: [] });
  });

  it("leaves what is in service alone when it is brought back", () => {
    expect(play("!!!b").alarm?.state).toBe("unacknowledged");
    expect(play("B").alarm).toBeNull();
  });
});

describe("an answer", () => {
  const { alarm } = play("!!!");
  const of = { kind, rule, now: minutesOn(start, 5) } as const;
  const raisedAt = minutesOn(start, 2);

  it("given to this raise counts, also late and whatever hides it meanwhile", () => {
    expect(acknowledge(alarm, { by: "Ada", raisedAt }, of).alarm).toMatchObject({ acknowledgedBy: "Ada" });
    const hidden = play("!!!p").alarm;
    expect(acknowledge(hidden, { by: "Ada", raisedAt }, of).alarm).toMatchObject({
      state: "suppressedByDesign",
      raised: { acknowledged: { by: "Ada", at: of.now } },
    });
  });

  it("given to an older raise counts for nothing", () => {
    const older = { by: "Ada", raisedAt: minutesOn(start, -40) };
    for (const signs of ["!!!", "!!!....", "!!!p"]) {
      const { alarm } = play(signs);
      expect(acknowledge(alarm, older, of)).toEqual({ alarm, changes: [] });
    }
    const { alarm: latched } = play("!!!....", latching);
    expect(acknowledge(latched, older, of)).toEqual({ alarm: latched, changes: [] });
  });

  it("to one that went and is coming back keeps it under suspicion: its on-delay goes on", () => {
    expect(play("!!!....!a!").transitions.slice(3)).toEqual([
      "8 returnedUnacknowledged>suspected",
      "9 suspected>unacknowledged",
    ]);
  });
});

describe("an alarm whose priority rises", () => {
  const soon: FaultRule = { ...rule, priority: "soon" };

  it("notifies once more, with that priority, and needs an acknowledgement once more", () => {
    expect(play("!!!!G", soon).events).toEqual(["2 raised", "4 worsened"]);
    expect(play("!!!aG", soon).events).toEqual(["2 raised", "3 acknowledged", "4 worsened"]);
    expect(play("!!!aG", soon).transitions.at(-1)).toBe("4 acknowledged>unacknowledged");
    expect(play("!!!aG", soon).alarm).toMatchObject({ priority: "urgent", raisedAt: minutesOn(start, 2) });
  });

  it("isn't acknowledged by a response to the lower priority, and is by one to the higher", () => {
    const { alarm } = play("!!!G", soon);
    const answer = { by: "Ada", raisedAt: minutesOn(start, 2) };
    const later = { kind, rule: soon, now: minutesOn(start, 5) } as const;
    expect(acknowledge(alarm, { ...answer, notifiedPriority: "soon" }, later)).toEqual({ alarm, changes: [] });
    expect(acknowledge(alarm, { ...answer, notifiedPriority: "urgent" }, later).alarm?.state).toBe("acknowledged");
    expect(acknowledge(alarm, answer, later).alarm?.state).toBe("acknowledged");
    const { alarm: milder } = play("!!!", soon);
    expect(acknowledge(milder, { ...answer, notifiedPriority: "soon" }, later).alarm?.state).toBe("acknowledged");
  });

  it("notifies only once, however often the more urgent fault starts and ends", () => {
    const { events, alarm } = play("!!!G!G!G!G!", soon);
    expect(events).toEqual(["2 raised", "3 worsened"]);
    expect(alarm).toMatchObject({ priority: "soon", notifiedPriority: "urgent" });
  });

  it("notifies with the high priority from the start where it is raised so, and notifies late where it was only a note", () => {
    expect(play("GGG", soon).alarm).toMatchObject({ priority: "urgent", notifiedPriority: "urgent" });
    const note: FaultRule = { ...rule, priority: "note" };
    expect(play("!!!!", note).events).toEqual([]);
    expect(play("!!!G", note).events).toEqual(["3 raised"]);
    expect(priorityRank.urgent).toBeLessThan(priorityRank.note);
  });
});

describe("the log", () => {
  it("has each start and end of a fault where nobody is notified: shelved, suppressed, within a delay, out of service", () => {
    expect(play("!!!s.!.").raw).toEqual(["4 shelved: away", "5 shelved: there", "6 shelved: away"]);
    expect(play("!!!p-p").raw).toEqual(["4 suppressedByDesign: away", "5 suppressedByDesign: there"]);
    expect(play("!!!.!").raw).toEqual(["3 unacknowledged: away", "4 unacknowledged: there"]);
    expect(play("!!!....!.").raw.slice(-2)).toEqual([
      "7 returnedUnacknowledged: there",
      "8 returnedUnacknowledged: away",
    ]);
    expect(play("!!!o.!").raw).toEqual(["4 outOfService: away", "5 outOfService: there"]);
    expect(play("!!!s.!.p-!").events).toEqual(["2 raised", "3 suppressed"]); // nobody is notified of it
  });

  it("notifies of nothing that can't be known", () => {
    expect(play("!!!??????").raw).toEqual([]);
    expect(play("!!!??????").alarm).toMatchObject({ state: "suppressedByDesign", present: true });
    expect(play("!!!???.").alarm).toMatchObject({ state: "unacknowledged", present: false }); // it reports again, and the fault is gone
  });
});

describe("the times", () => {
  it("are ours: a day for what went unseen, a week for a shelf, whatever the clocks of the yard do", () => {
    expect(returnedMax).toBe(hours(24));
    expect(shelvedMax).toBe(days(7));
    // Europe/Stockholm sets its clocks back on 25 October 2026: a week of that yard has 169 hours, a shelf has 168.
    const before = instantOf("2026-10-22T12:00:00Z");
    const { alarm } = shelve(null, after(before, days(30)), "Ada", { kind, rule, now: before });
    expect(alarm).toMatchObject({ shelvedUntil: instantOf("2026-10-29T12:00:00Z") });
  });
});
