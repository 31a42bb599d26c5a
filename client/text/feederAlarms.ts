import { priorityText } from "#text/alarm.ts";
import * as text from "#text/feederAlarms.ts";
import type { AlarmView, FeederView } from "../../server/contract/api.ts";
import { isSuppressed } from "./alarm.ts";
import { momentText } from "./clock.ts";

/** Alarms as a feeder's page shows them. */

/** The alarm's state by ANSI/ISA-18.2, as plain text. */
export function alarmStateText(alarm: AlarmView, now: number, zone: string): string {
  const start = momentText(alarm.since, now, zone);
  switch (alarm.state) {
    case "unacknowledged":
      return text.sinceText(start);
    case "acknowledged":
      return text.acknowledgedText(start);
    case "returnedUnacknowledged":
      return text.endedText(start);
    case "latchedUnacknowledged":
      return text.checkNeededText(start);
    case "latchedAcknowledged":
      return text.acknowledgedCheckNeededText(start);
    case "shelved":
      return alarm.shelvedUntil === null
        ? text.shelvedText
        : text.shelvedUntilText(momentText(alarm.shelvedUntil, now, zone));
    case "suppressedByDesign":
      return alarm.explainedBy === null ? text.suppressedText(start) : text.causedByText(start, alarm.explainedBy);
    case "outOfService":
      return alarm.outOfService === null
        ? text.outOfServiceText
        : text.outOfServiceSinceText(momentText(alarm.outOfService.since, now, zone));
  }
}

/** The badge next to its title. An alarm that needs no action must not show its priority. */
export function alarmBadgeText(alarm: AlarmView): string {
  switch (alarm.state) {
    case "unacknowledged":
    case "acknowledged":
      return priorityText[alarm.priority];
    case "returnedUnacknowledged":
      return text.endedBadge;
    case "latchedUnacknowledged":
    case "latchedAcknowledged":
      return text.checkNeededBadge;
    case "shelved":
    case "suppressedByDesign":
    case "outOfService":
      return text.suppressedBadge;
  }
}

/** The alarms that this one causes: they are listed with it, and nowhere else. */
export const explainedAlarms = (alarm: AlarmView, { alarms }: Pick<FeederView, "alarms">) =>
  alarms.filter((each) => each.state === "suppressedByDesign" && each.explainedBy === alarm.title);

/** "One alarm", "2 alarms and a note", "A note": a note needs no action and is not an alarm. */
export function alarmCountText(listed: readonly AlarmView[]): string {
  const notes = listed.filter(({ priority }) => priority === "note").length;
  const alarms = listed.length - notes;
  if (alarms > 0 && notes > 0) return text.alarmAndNoteCountText(alarms, notes);
  if (alarms > 0) return text.alarmCountText(alarms);
  return notes > 0 ? text.noteCountText(notes) : text.noAlarmsTitle;
}

/** A feeder's alarms in three parts: those to act on, those without notifications, and those out of service. */
export function groupAlarms({ alarms }: Pick<FeederView, "alarms">) {
  const listed = alarms.filter((alarm) => !alarms.some((cause) => explainedAlarms(cause, { alarms }).includes(alarm)));
  return {
    standing: listed.filter((alarm) => !isSuppressed(alarm)),
    quiet: listed.filter((alarm) => isSuppressed(alarm) && alarm.state !== "outOfService"),
    outOfService: listed.filter((alarm) => alarm.state === "outOfService"),
  };
}

/** Which notifications are not sent while a feeder is not in use; null while it is. */
export function dutyText(duty: FeederView["settings"]["placement"]): string | null {
  switch (duty) {
    case "onBench":
      return text.inWorkshopText;
    case "putAway":
      return text.inStorageText;
    case "inGarden":
    case undefined:
      return null;
  }
}
