import * as text from "#text/feederKey.ts";
import { now } from "../state/clock.ts";
import { findFeeder } from "../state/home.ts";
import { agoText } from "../text/clock.ts";
import { CopyableText } from "./copyableText.tsx";

/** A random boot id each time it is run, in any POSIX shell: as a feeder's program chooses one at each start. */
const randomBootJson = `"boot":"b-'$(od -An -N4 -tx4 /dev/urandom | tr -d ' ')'"`;

/** A first report without readings and events: it leaves no trace in the training data. */
export const firstReportCommand = (origin: string, key: string) =>
  `curl ${origin}/api/v1/report -H 'authorization: Bearer ${key}' -H 'content-type: application/json' ` +
  `-d '{${randomBootJson},"sentUptimeMs":1000,"readings":{},"events":[]}'`;

/** The feeder's key, shown only once, and a command to try it. */
export function FeederKey(props: {
  readonly feeder: string;
  readonly name: string;
  readonly secret: string;
  readonly fresh: boolean;
}) {
  const feeder = findFeeder(props.feeder)?.feeder;
  const lastReportAt = feeder?.lastReportAt ?? null;
  const unreadable = feeder?.alarms.find(
    ({ fault, state }) => fault === "reportsUnreadable" && state === "unacknowledged",
  );
  return (
    <div class="shown-once">
      <p>
        <strong>{text.shownOnceTitle}</strong> {text.shownOnceText}
      </p>
      <CopyableText label={text.keyLabel} text={props.secret} />
      <p>{text.tryText}</p>
      <CopyableText label={text.firstReportLabel} text={firstReportCommand(location.origin, props.secret)} />
      <p class="hint">{text.tryHint}</p>
      {props.fresh && (
        <p class="first-report" role="status">
          {lastReportAt === null ? text.waitingText(props.name) : text.receivedText(agoText(lastReportAt, now.value))}
          {unreadable !== undefined && ` ${unreadable.reason}`}
        </p>
      )}
    </div>
  );
}
