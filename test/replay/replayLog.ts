import type { AlarmChange } from "../../server/domain/alarms/alarmStates.ts";
import { isoOf } from "../../server/domain/instant.ts";
import { readLine } from "../../server/replay/logLine.ts";
import { Replay } from "../../server/replay/replay.ts";

export interface ReplayedAlarms {
  readonly replay: Replay;
  readonly output: readonly Record<string, unknown>[];
  readonly alarms: readonly string[]; // "2026-01-15T10:00:00.000Z trayJammed unacknowledged", "… trayJammed absent"
}

/** The same form of what a server has stored. */
export const storedAlarms = (changes: readonly AlarmChange[]): string[] =>
  changes.map(({ at, fault, from, to, present }) => {
    const stateText = from === to ? (present ? "present" : "absent") : to;
    return `${isoOf(at)} ${fault} ${stateText}`;
  });

/** Replays a downloaded log. @throws Error where a line of it isn't taken: every line of our own export must be. */
export function replayLog(log: string): ReplayedAlarms {
  const output: Record<string, unknown>[] = [];
  const replay = new Replay({ settings: {}, hourly: false, output: (line) => output.push(line as never) });
  for (const text of log.trimEnd().split("\n")) {
    const read = readLine(text);
    const problems = read.kind === "wrong" ? read.problems : replay.take(read.line);
    if (problems.length > 0) throw new Error(`${JSON.stringify(problems)} in ${text.slice(0, 200)}`);
  }
  const alarms = output.flatMap(({ alarm, state, present, at }) =>
    alarm === undefined ? [] : [`${at} ${alarm} ${state ?? (present ? "present" : "absent")}`],
  );
  return { replay, output, alarms };
}
