import { findFeeder } from "../state/home.ts";
import { now } from "../state/now.ts";
import { agoWords } from "../words/clock.ts";
import { Copied } from "./copied.tsx";

/** A first report that says nothing but "here I am": it leaves no trace in the training record. */
const firstReport = (origin: string, key: string) =>
  `curl ${origin}/api/v1/report -H 'authorization: Bearer ${key}' -H 'content-type: application/json' ` +
  `-d '{"boot":"hello-1","sentUptimeMs":1000,"readings":{},"events":[]}'`;

/** The feeder's key, shown this once, and a line to try it with. */
export function KeyOnce(props: {
  readonly feeder: string;
  readonly name: string;
  readonly secret: string;
  readonly fresh: boolean;
}) {
  const heard = findFeeder(props.feeder)?.feeder.lastHeardAt ?? null;
  return (
    <div class="key-once">
      <p>
        <strong>This key is shown only now.</strong> Put it on the feeder's computer. The server keeps no copy, only a
        fingerprint of it; lose the key and you make a new one.
      </p>
      <Copied label="Key" text={props.secret} />
      <p>Try it from any computer that reaches this server:</p>
      <Copied label="First report" text={firstReport(location.origin, props.secret)} />
      {props.fresh && (
        <p class="heard-first" role="status">
          {heard === null
            ? `Waiting for ${props.name}'s first report…`
            : `${props.name} was heard ${agoWords(heard, now.value)}.`}
        </p>
      )}
    </div>
  );
}
