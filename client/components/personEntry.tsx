import { digestChannelText, roleText } from "#text/people.ts";
import * as text from "#text/personEntry.ts";
import type { PersonView } from "../../server/contract/api.ts";
import { quietHoursText } from "../text/people.ts";
import { ReachabilityStatus } from "./reachabilityStatus.tsx";

interface PersonEntryProps {
  readonly person: PersonView;
  readonly together: string; // with whom the person shares the place in the order; empty: with nobody
  readonly busy: boolean;
  /** Each null where it is not possible, or not for the person who is signed in. */
  readonly earlier: (() => void) | null;
  readonly later: (() => void) | null;
  readonly changeRole: (() => void) | null;
  readonly remove: (() => void) | null;
}

/** One recipient: who, whether a notification would reach them, and when not. */
export function PersonEntry(props: PersonEntryProps) {
  const { person, together } = props;
  const { name, role, you, escalationOrder } = person;
  return (
    <li class="recipient">
      <span class="escalation-order" aria-hidden="true">
        {escalationOrder}
      </span>
      <h3>
        {name}
        <span class="since">
          {" "}
          {[roleText[role].name, you ? text.youText : "", together].filter((each) => each !== "").join(", ")}
        </span>
      </h3>
      <ReachabilityStatus kind={person.reachability.kind}>{person.reachability.text}</ReachabilityStatus>
      <p class="since">
        {text.channelsText(
          text.phonesText(person.phones),
          person.hasEmail,
          quietHoursText(person),
          digestChannelText[person.digestBy],
        )}
      </p>
      <OrderButtons {...props} />
      <RoleSection {...props} />
    </li>
  );
}

const OrderButtons = ({ person: { name }, busy, earlier, later }: PersonEntryProps) =>
  earlier === null && later === null ? null : (
    <div class="actions move-buttons">
      {earlier !== null && (
        <button type="button" disabled={busy} onClick={earlier}>
          {text.moveUpLabel}
          <span class="hidden">{text.forPersonText(name)}</span>
        </button>
      )}
      {later !== null && (
        <button type="button" disabled={busy} onClick={later}>
          {text.moveDownLabel}
          <span class="hidden">{text.forPersonText(name)}</span>
        </button>
      )}
    </div>
  );

function RoleSection({ person: { name, role, you }, busy, changeRole, remove }: PersonEntryProps) {
  if (remove === null) return null;
  return (
    <details>
      <summary>{changeRole === null ? text.leaveSummary : <ChangeSummary name={name} />}</summary>
      {changeRole !== null && <p class="hint">{roleText[role].rights}</p>}
      <p class="hint">{you ? text.leaveHint : text.removeHint}</p>
      <div class="actions">
        {changeRole !== null && (
          <button type="button" disabled={busy} onClick={changeRole}>
            {text.changeRoleLabel(name, role === "keeper" ? "helper" : "keeper")}
          </button>
        )}
        <button type="button" class="danger" disabled={busy} onClick={remove}>
          {you ? text.leaveLabel : text.removeLabel(name)}
        </button>
      </div>
    </details>
  );
}

const ChangeSummary = ({ name }: { readonly name: string }) => (
  <>
    {text.changeSummary.start}
    <span class="hidden"> {name}</span>
    {text.changeSummary.end}
  </>
);
