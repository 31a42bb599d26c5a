import type { PersonView } from "../../server/contract/api.ts";
import { digestChannelText, quietHoursText, roleText } from "../text/people.ts";
import { ReachabilityStatus } from "./reachabilityStatus.tsx";

/** One of those who are told: who, whether it would reach them, and when not. */
export function PersonEntry(props: {
  readonly person: PersonView;
  readonly together: string; // with whom they share a turn; empty: with nobody
  readonly busy: boolean;
  /** Each null where it can't be done, or not by whoever looks. */
  readonly earlier: (() => void) | null;
  readonly later: (() => void) | null;
  readonly changeRole: (() => void) | null;
  readonly remove: (() => void) | null;
}) {
  const { person, together, busy, earlier, later, changeRole, remove } = props;
  const { name, role, you, escalationOrder } = person;
  const other = role === "keeper" ? "helper" : "keeper";
  return (
    <li class="person">
      <span class="turn" aria-hidden="true">
        {escalationOrder}
      </span>
      <h3>
        {name}
        <span class="since">
          {" "}
          {[roleText[role].name, you ? "that's you" : "", together].filter((words) => words !== "").join(", ")}
        </span>
      </h3>
      <ReachabilityStatus kind={person.reachability.kind}>{person.reachability.text}</ReachabilityStatus>
      <p class="since">
        {person.phones === 0 ? "No phone" : person.phones === 1 ? "One phone" : `${person.phones} phones`}
        {person.hasEmail ? ", and mail. " : ", no mail address. "}
        {quietHoursText(person)} Digest: {digestChannelText[person.digestBy]}.
      </p>
      {(earlier !== null || later !== null) && (
        <div class="answers order-moves">
          {earlier !== null && (
            <button type="button" disabled={busy} onClick={earlier}>
              Earlier<span class="hidden"> for {name}</span>
            </button>
          )}
          {later !== null && (
            <button type="button" disabled={busy} onClick={later}>
              Later<span class="hidden"> for {name}</span>
            </button>
          )}
        </div>
      )}
      {remove !== null && (
        <details>
          <summary>{changeRole === null ? "Leave…" : <ChangeLabel name={name} />}</summary>
          {changeRole !== null && <p class="hint">{roleText[role].rights}</p>}
          <p class="hint">
            {you
              ? "If you belong to no other yard, your account ends with it, and you can't sign in any more."
              : "Whoever is removed from their last yard can't sign in any more."}
          </p>
          <div class="answers">
            {changeRole !== null && (
              <button type="button" disabled={busy} onClick={changeRole}>
                Make {name} a {other}
              </button>
            )}
            <button type="button" class="grave" disabled={busy} onClick={remove}>
              {you ? "Leave this yard" : `Remove ${name}`}
            </button>
          </div>
        </details>
      )}
    </li>
  );
}

const ChangeLabel = ({ name }: { readonly name: string }) => (
  <>
    Change<span class="hidden"> {name}</span>…
  </>
);
