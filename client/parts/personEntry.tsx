import type { PersonView } from "../../server/contract/api.ts";
import { digestWords, quietWords, roleWords } from "../words/people.ts";
import { ReachMark } from "./reachMark.tsx";

/** One of those who are told: who, whether it would reach them, and when not. */
export function PersonEntry(props: {
  readonly person: PersonView;
  readonly busy: boolean;
  readonly earlier: (() => void) | null; // null: can't be moved there
  readonly later: (() => void) | null;
  /** Null for whoever may not change others. */
  readonly others: { readonly changeRole: () => void; readonly remove: () => void } | null;
}) {
  const { person, busy, earlier, later, others } = props;
  const role = roleWords[person.role];
  return (
    <li class="person">
      <h3>
        {person.name}
        <span class="since">
          {" "}
          {role.name}
          {person.you && ", that's you"}
        </span>
      </h3>
      <ReachMark kind={person.reach.kind}>{person.reach.words}</ReachMark>
      <p class="since">
        {person.phones === 0 ? "No phone" : person.phones === 1 ? "One phone" : `${person.phones} phones`}
        {person.hasMail ? ", and mail. " : ", no mail address. "}
        {quietWords(person)} Digest: {digestWords[person.digestBy]}.
      </p>
      {(earlier !== null || later !== null) && (
        <div class="answers order-moves">
          {earlier !== null && (
            <button type="button" disabled={busy} onClick={earlier}>
              Earlier<span class="hidden">: {person.name}</span>
            </button>
          )}
          {later !== null && (
            <button type="button" disabled={busy} onClick={later}>
              Later<span class="hidden">: {person.name}</span>
            </button>
          )}
        </div>
      )}
      {others !== null && (
        <details>
          <summary>
            Change<span class="hidden"> {person.name}</span>…
          </summary>
          <p class="hint">{role.may}</p>
          <div class="answers">
            <button type="button" disabled={busy} onClick={others.changeRole}>
              Make {person.name} a {person.role === "keeper" ? "helper" : "keeper"}
            </button>
            <button type="button" class="grave" disabled={busy} onClick={others.remove}>
              {person.you ? "Leave this yard" : `Remove ${person.name}`}
            </button>
          </div>
        </details>
      )}
    </li>
  );
}
