import { introText, signedInText, signOutLabel, signOutText, title } from "#text/phonesScreen.ts";
import type { PhoneView } from "../../server/contract/api.ts";
import { FormError, readText } from "../components/field.tsx";
import { OwnLinks } from "../components/ownLinks.tsx";
import { Screen } from "../components/screen.tsx";
import { SwitchOnPhone } from "../components/switchOnPhone.tsx";
import { home } from "../state/home.ts";
import { notificationPermission, ownEndpoint } from "../state/ownPhone.ts";
import { isRenewalPending, phones, storedEndpoint } from "../state/phones.ts";
import { type ReachabilityWarning, reachabilityWarning } from "../text/reachability.ts";
import { PhoneList } from "./phoneList.tsx";
import { PhoneLimitNotice, WarningNotice } from "./phoneNotices.tsx";
import { type PhoneActions, usePhoneActions } from "./usePhoneActions.ts";

/** What is a person's own: the phones that get notifications and whether each is reachable, then all settings, and the rest of Pieward. */
export function YouScreen() {
  const actions = usePhoneActions();
  const known = phones.value?.phones ?? [];
  const warning = ownWarning();
  return (
    <Screen title={title}>
      {home.value !== null && <p class="hint">{signedInText(home.value.view.keeper.name)}</p>}
      <FormError text={actions.error} />
      <WarningNotice warning={warning} />
      <TurnOnSection actions={actions} known={known} warning={warning} />
      {known.length > 0 && <PhoneList phones={known} warning={warning} actions={actions} />}
      <p class="hint">{introText}</p>
      <OwnLinks />
      <SignOutSection actions={actions} />
    </Screen>
  );
}

/** What this browser and the server know together; null where there is nothing to warn of. */
function ownWarning(): ReachabilityWarning | null {
  if (phones.value === null) return null;
  return reachabilityWarning(phones.value, {
    endpoint: ownEndpoint.value,
    storedEndpoint: storedEndpoint.value,
    isBlocked: notificationPermission.value === "denied",
    isRenewalPending: isRenewalPending.value,
  });
}

interface TurnOnProps {
  readonly actions: PhoneActions;
  readonly known: readonly PhoneView[];
  readonly warning: ReachabilityWarning | null;
}

/** Adds this phone, where that is needed and the maximum is not reached. */
function TurnOnSection({ actions, known, warning }: TurnOnProps) {
  if (phones.value === null) return null;
  const isOn = ownEndpoint.value !== null && known.some((phone) => phone.endpoint === ownEndpoint.value);
  // It is renewed by itself, or the warning contains all that can be done.
  if (isOn || warning?.kind === "renewalPending" || warning?.kind === "thisPhoneBlocked") return null;
  if (known.length >= phones.value.phonesMax) return <PhoneLimitNotice phones={known} actions={actions} />;
  const turnOn = (event: SubmitEvent) => {
    event.preventDefault();
    void actions.turnOn(readText(new FormData(event.currentTarget as HTMLFormElement), "label"));
  };
  return <SwitchOnPhone busy={actions.busy} label={earlierLabel()} on={turnOn} />;
}

/** The name of this phone from before its address was lost; null where it had none. */
function earlierLabel(): string | null {
  const { phones: listed = [], gone = [] } = phones.value ?? {};
  const own = [ownEndpoint.value, storedEndpoint.value];
  return [...listed, ...gone].find(({ endpoint }) => own.includes(endpoint))?.label ?? null;
}

const SignOutSection = ({ actions }: { readonly actions: PhoneActions }) => (
  <section class="subsection" aria-labelledby="out-title">
    <h2 id="out-title">{signOutLabel}</h2>
    <p>{signOutText}</p>
    <button type="button" disabled={actions.busy} onClick={() => void actions.signOut()}>
      {signOutLabel}
    </button>
  </section>
);
