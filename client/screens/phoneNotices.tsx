import {
  lastShownText,
  neverShownText,
  phoneLimitText,
  removeLabel,
  removeOneText,
  warningAdvice,
} from "#text/phonesScreen.ts";
import type { PhoneView } from "../../server/contract/api.ts";
import { now } from "../state/clock.ts";
import { agoText } from "../text/clock.ts";
import type { ReachabilityWarning } from "../text/reachability.ts";
import type { PhoneActions } from "./usePhoneActions.ts";

/** Warnings about no single phone; the others are in the phone's entry. */
export function WarningNotice({ warning }: { readonly warning: ReachabilityWarning | null }) {
  if (warning === null || warning.kind === "noneConfirmed") return null;
  return (
    <p class="notice warning">
      <strong>{warning.text}</strong> {warningAdvice[warning.kind]}
    </p>
  );
}

interface PhoneLimitProps {
  readonly phones: readonly PhoneView[];
  readonly actions: PhoneActions;
}

/** Offers to remove the phone that showed a notification the longest ago: most likely nobody uses it any more. */
export function PhoneLimitNotice({ phones, actions }: PhoneLimitProps) {
  const lastUse = ({ lastDisplayedAt, addedAt }: PhoneView) => Date.parse(lastDisplayedAt ?? addedAt);
  const [oldest] = [...phones].sort((one, other) => lastUse(one) - lastUse(other));
  if (oldest === undefined) return null;
  const { label, endpoint, lastDisplayedAt } = oldest;
  return (
    <div class="notice">
      <p>
        <strong>{phoneLimitText(phones.length)}</strong> {removeOneText}{" "}
        {lastDisplayedAt === null ? neverShownText(label) : lastShownText(label, agoText(lastDisplayedAt, now.value))}
      </p>
      <button type="button" disabled={actions.busy} onClick={() => void actions.remove(endpoint)}>
        {removeLabel(label)}
      </button>
    </div>
  );
}
