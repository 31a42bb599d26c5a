import { describe, expect, it } from "vitest";
import type { FeederState } from "../../server/domain/feeder.ts";
import { type ReplayedAlarms, replayLog, storedAlarms } from "./replayLog.ts";
import { ServerDay } from "./serverDay.ts";

/**
 * Goal: a downloaded log replays to the same state and the same alarms as in the server, whatever was done to the feeder that day.
 * Method: one day with all of it, over the real API; then the same log with one thing falsified at a time, as by a faulty export. Each
 * must change the result.
 */
describe("a day with everything in it", { timeout: 240_000 }, () => {
  it("replays exactly, and not if any of it is missing from the log", async () => {
    const day = await ServerDay.begin();
    const berit = await day.secondKeeper("Berit");
    await day.live(40);
    await day.keeper("refills", { what: { kind: "added", grams: 300 } });
    await day.settings({ portionGrams: 4 });
    await day.live(30);
    await day.settings({ warnAheadDays: 3, food: "shelled peanuts", portionGrams: 4.5 });

    day.silent = true; // birds come, and nothing is reported until the connection is back
    await day.live(35);
    day.silent = false;
    expect(await day.reportInDisorder()).toBeGreaterThan(3);
    await day.live(20);
    await day.keeper("orders", { kind: "pause", until: day.iso(60) });
    await day.live(10);
    await day.changeYard({ zone: "Europe/Oslo" });
    await day.restart(17);
    await day.live(10);
    await day.keeper("refills", { at: day.iso(-120), what: { kind: "level", grams: 1_400 } });
    await day.live(5);

    day.server.sockets.sendOrders = () => true; // an order is sent at once to a feeder with an open socket
    await day.keeper("orders", { kind: "resume" });
    await day.keeper("alarms/scaleSilent/shelve", { until: day.iso(600) });
    day.fail("trayJammed");
    await day.live(25);
    await day.keeper("alarms/trayJammed/acknowledge", {}, berit);
    await day.live(2);
    day.silent = true;
    await day.live(12); // ends with periodic checks only

    const state = await day.state();
    expect(JSON.stringify(state.alarms.trayJammed)).toContain('"Berit"');
    expect(state.alarms.scaleSilent).toMatchObject({ state: "shelved", shelvedBy: "Keeper" });
    expect(state.orders.newest).toMatchObject({ kind: "resume", status: "confirmed" });
    const log = await day.log();
    const alarms = storedAlarms(await day.changes());
    const replayed = replayLog(log);
    expect(replayed.alarms).toEqual(alarms);
    expect(replayed.replay.stateOf(day.feeder)).toEqual(state);

    const same = ({ replay, alarms: found }: ReplayedAlarms) =>
      plain(replay.stateOf(day.feeder)) === plain(state) && found.join() === alarms.join();
    expect(same(replayed)).toBe(true);
    for (const [missing, falsify] of Object.entries(falsified)) {
      const lines = falsify(log.trimEnd().split("\n"));
      expect(lines.join("\n"), `the day must have ${missing}`).not.toBe(log.trimEnd());
      expect(same(replayLog(lines.join("\n"))), `a log without ${missing}`).toBe(false);
    }
  });
});

/** With sorted keys: a state from the database may have them in another order. */
const plain = (state: FeederState | null): string =>
  JSON.stringify(state, (_, value) =>
    value !== null && typeof value === "object" && !Array.isArray(value)
      ? Object.fromEntries(Object.entries(value).sort(([a], [b]) => (a < b ? -1 : 1)))
      : value,
  );

type Falsify = (lines: readonly string[]) => readonly string[];

const without =
  (pattern: RegExp): Falsify =>
  (lines) =>
    lines.filter((line, index) => index === 0 || !pattern.test(line));
const changed =
  (pattern: RegExp, to: string): Falsify =>
  (lines) =>
    lines.map((line) => line.replace(pattern, to));

const falsified: Readonly<Record<string, Falsify>> = {
  "the first change of settings": without(/"settings":(?!.*shelled).*"portionGrams":4,/),
  "the second change of settings": without(/"settings":.*"shelled peanuts".*Stockholm/),
  "the change of the yard's zone": without(/"settings":.*Oslo/),
  "when the refill that was entered late happened": changed(/"refill":\{"at":"[^"]+",/, '"refill":{'),
  "who acknowledged": changed(/"by":"Berit"/, '"by":"Keeper"'),
  "the shelving": without(/"shelve"/),
  "until when it was shelved": changed(/("shelve":.*"until":"20..-..-..T..:..):../, "$1:59"),
  "the pause": without(/"pause":/),
  "the resume": without(/"resume":/),
  "what was sent over the socket": without(/"orders":"sent"/),
  "periodic checks": without(/"check":"checked"/),
  "that checks are in it, so that none are added for the time when the server was down": without(/"check":/),
  "the late events that fill a gap": (lines) => {
    const highest = { seq: 0 };
    return lines.map((line) => {
      const content = JSON.parse(line);
      if (!content.report) return line;
      content.report.events = content.report.events.filter(({ seq }: { seq: number }) => seq > highest.seq);
      highest.seq = Math.max(highest.seq, ...content.report.events.map(({ seq }: { seq: number }) => seq));
      return JSON.stringify(content);
    });
  },
};
