import {
  lastAcceptedText,
  listTitle,
  lostPhoneTexts,
  nothingSentText,
  nothingSentYetAdvice,
  removeLabel,
  sendTestLabel,
  thisPhoneText,
} from "#text/phonesScreen.ts";
import type { PhoneView } from "../../server/contract/api.ts";
import { ReachabilityStatus } from "../components/reachabilityStatus.tsx";
import { now } from "../state/clock.ts";
import { ownEndpoint } from "../state/ownPhone.ts";
import { storedEndpoint } from "../state/phones.ts";
import type { TestPushProgress } from "../state/testPush.ts";
import { agoText } from "../text/clock.ts";
import { lastDisplayText, type ReachabilityWarning, testReceiptText } from "../text/reachability.ts";
import type { PhoneActions } from "./usePhoneActions.ts";

const ownZone = () => Intl.DateTimeFormat().resolvedOptions().timeZone;

interface PhoneListProps {
  readonly phones: readonly PhoneView[];
  readonly warning: ReachabilityWarning | null;
  readonly actions: PhoneActions;
}

/** Every phone with its reachability, and a test of all. */
export function PhoneList({ phones, warning, actions }: PhoneListProps) {
  // A phone may have shown the test before it got lost.
  const results = actions.test.filter(({ receipt }) => warning === null || receipt !== "displayed");
  return (
    <>
      <h2>{listTitle}</h2>
      <ul class="entry-list">
        {phones.map((phone) => (
          <PhoneEntry
            key={phone.id}
            phone={phone}
            lostText={phone.endpoint === storedEndpoint.value ? lostPhoneText(warning) : null}
            busy={actions.busy}
            remove={() => void actions.remove(phone.endpoint)}
          />
        ))}
      </ul>
      <div class="actions">
        <button type="button" class="main" disabled={actions.busy} onClick={() => void actions.sendTest()}>
          {sendTestLabel}
        </button>
      </div>
      <TestResults results={results} />
    </>
  );
}

const TestResults = ({ results }: { readonly results: readonly TestPushProgress[] }) => (
  <div role="status">
    {results.map(({ label, text, receipt }) => (
      <p key={label + text} class={`test ${receipt}`}>
        <strong>{label}:</strong> {receipt === "none" ? text : testReceiptText(receipt)}
      </p>
    ))}
  </div>
);

/** This browser may know that its phone is lost while the server still lists it as reachable. */
const lostPhoneText = (warning: ReachabilityWarning | null): string | null =>
  warning === null || warning.kind === "noPhone" || warning.kind === "noneConfirmed"
    ? null
    : lostPhoneTexts[warning.kind];

interface PhoneEntryProps {
  readonly phone: PhoneView;
  readonly lostText: string | null; // set where this is the keeper's own phone and its browser knows better than the server
  readonly busy: boolean;
  readonly remove: () => void;
}

function PhoneEntry({ phone, lostText, busy, remove }: PhoneEntryProps) {
  const { label, endpoint, reachability, lastDisplayedAt, problem } = phone;
  const displayText = lastDisplayText(lastDisplayedAt, now.value, ownZone());
  return (
    <li>
      <h3>
        {label}
        {(endpoint === ownEndpoint.value || lostText !== null) && <span class="since"> {thisPhoneText}</span>}
      </h3>
      {lostText === null || reachability.kind === "lost" ? (
        <ReachabilityStatus kind={reachability.kind}>
          {reachability.kind === "confirmed" ? displayText : reachability.text}
        </ReachabilityStatus>
      ) : (
        <ReachabilityStatus kind="lost">{lostText}</ReachabilityStatus>
      )}
      <p class="since">
        {reachability.kind !== "confirmed" && lastDisplayedAt !== null && `${displayText} `}
        {acceptedText(phone)}
      </p>
      {problem !== null && !reachability.text.includes(problem) && <p class="problem">{problem}</p>}
      <button type="button" class="plain" disabled={busy} onClick={remove}>
        {removeLabel(label)}
      </button>
    </li>
  );
}

function acceptedText({ lastAcceptedAt, reachability }: PhoneView): string {
  if (lastAcceptedAt !== null) return lastAcceptedText(agoText(lastAcceptedAt, now.value));
  return reachability.kind === "lost" ? nothingSentText : nothingSentYetAdvice;
}
