import { notFoundTitle, phonesLabel, title } from "#text/recipientsScreen.ts";
import { yardNotFoundText } from "#text/screens.ts";
import type { PeopleView, YardView } from "../../server/contract/api.ts";
import { FormError } from "../components/field.tsx";
import { InviteForm, OpenInviteList } from "../components/inviteForm.tsx";
import { OwnNotificationSettings } from "../components/ownNotificationSettings.tsx";
import { PersonEntry } from "../components/personEntry.tsx";
import { Screen } from "../components/screen.tsx";
import { home, yards } from "../state/home.ts";
import { escalationText, sharedOrderText } from "../text/people.ts";
import { EscalationForm } from "./escalationForm.tsx";
import { backToFeeders, notFoundScreen } from "./notFound.tsx";
import { type RecipientActions, useRecipients } from "./useRecipients.ts";

/** Who is notified of a yard's alarms, in which order, and how each wants it. */
export function RecipientsScreen(props: { readonly id: string }) {
  const actions = useRecipients(props.id);
  const yard = yards.value.find((each) => each.id === props.id);
  if (yard === undefined) return notFoundScreen(notFoundTitle, yardNotFoundText);
  return (
    <Screen title={title(yard.name)} practice={yard.practice} back={backToFeeders}>
      <FormError text={actions.error} />
      {actions.people !== null && <Recipients yard={yard} view={actions.people} actions={actions} />}
      <p class="page-link">
        <a href="/phones">{phonesLabel}</a>
      </p>
    </Screen>
  );
}

interface RecipientsProps {
  readonly yard: YardView;
  readonly view: PeopleView;
  readonly actions: RecipientActions;
}

function Recipients({ yard, view, actions }: RecipientsProps) {
  const people = [...view.people].sort((one, other) => one.escalationOrder - other.escalationOrder);
  const you = people.find((person) => person.you);
  const me = home.value?.view.keeper;
  const isKeeper = yard.role === "keeper";
  const hasOthers = people.length > 1;
  return (
    <>
      <p>{escalationText(people, yard.escalateMinutes)}</p>
      <ol class="recipients">
        {people.map((person) => (
          <PersonEntry
            key={person.id}
            person={person}
            together={sharedOrderText(person, people)}
            busy={actions.busy}
            earlier={isKeeper ? actions.move(people, person, "earlier") : null}
            later={isKeeper ? actions.move(people, person, "later") : null}
            changeRole={isKeeper && hasOthers ? () => void actions.changeRole(person) : null}
            remove={(isKeeper || person.you) && hasOthers ? () => void actions.remove(person) : null}
          />
        ))}
      </ol>
      {you !== undefined && me !== undefined && (
        <OwnNotificationSettings yard={yard.id} you={you} me={me} onChanged={actions.accept} />
      )}
      {isKeeper && <EscalationForm yard={yard} />}
      {isKeeper && <InviteForm yard={yard} onCreated={() => void actions.load()} />}
      {isKeeper && <OpenInviteList yard={yard} open={view.invites} onChanged={() => void actions.load()} />}
    </>
  );
}
