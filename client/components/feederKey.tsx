import { now } from "../state/clock.ts";
import { findFeeder } from "../state/home.ts";
import { agoText } from "../text/clock.ts";
import { CopyableText } from "./copyableText.tsx";

/** A random boot id each time it is run, in any POSIX shell: as a feeder's program chooses one at each start. */
const randomBootJson = `"boot":"b-'$(od -An -N4 -tx4 /dev/urandom | tr -d ' ')'"`;

/** A first report that says nothing but "here I am": it leaves no trace in the training record. */
export const firstReportCommand = (origin: string, key: string) =>
  `curl ${origin}/api/v1/report -H 'authorization: Bearer ${key}' -H 'content-type: application/json' ` +
  `-d '{${randomBootJson},"sentUptimeMs":1000,"readings":{},"events":[]}'`;

/** The feeder's key, shown this once, and a line to try it with. */
export function FeederKey(props: {
  readonly feeder: string;
  readonly name: string;
  readonly secret: string;
  readonly fresh: boolean;
}) {
  const feeder = findFeeder(props.feeder)?.feeder;
  const heard = feeder?.lastReportAt ?? null;
  const unreadable = feeder?.alarms.find(
    ({ fault, state }) => fault === "reportsUnreadable" && state === "unacknowledged",
  );
  return (
    <div class="key-once">
      <p>
        <strong>This key is shown only now.</strong> Put it on the feeder's computer. The server keeps no copy, only a
        fingerprint of it; lose the key and you make a new one.
      </p>
      <CopyableText label="Key" text={props.secret} />
      <p>Try it from any computer that reaches this server:</p>
      <CopyableText label="First report" text={firstReportCommand(location.origin, props.secret)} />
      <p class="hint">
        Run again, it counts as another start of the feeder, and nothing is counted twice. A report sent by hand raises
        no alarm when no other follows: you are told of silence once the feeder has reported by itself for an hour.
      </p>
      {props.fresh && (
        <p class="heard-first" role="status">
          {heard === null
            ? `Waiting for ${props.name}'s first report…`
            : `${props.name} was heard ${agoText(heard, now.value)}.`}
          {unreadable !== undefined && ` ${unreadable.reason}`}
        </p>
      )}
    </div>
  );
}
