import { fixLabel, sendTestLabel } from "#text/reachability.ts";
import { connectionState, phoneChangeCount, signedIn, yards } from "../state/home.ts";
import { notificationPermission, ownEndpoint } from "../state/ownPhone.ts";
import { isRenewalPending, loadPhonesForHome, phones, storedEndpoint } from "../state/phones.ts";
import { reachabilityWarning } from "../text/reachability.ts";
import { useLoad } from "./useLoad.ts";

/** On the first page: that no notification would arrive. Without a feeder there is nothing to notify of. */
export function ReachabilityNotice() {
  const hasFeeders = yards.value.some((yard) => !yard.practice && yard.feeders.length > 0);
  const mayAsk = signedIn.value === "yes" && connectionState.value !== "offline" && hasFeeders;
  useLoad(async () => (mayAsk ? loadPhonesForHome() : { kind: "ok", value: null }), [mayAsk, phoneChangeCount.value]);
  if (!hasFeeders || phones.value === null) return null;
  const warning = reachabilityWarning(phones.value, {
    endpoint: ownEndpoint.value,
    storedEndpoint: storedEndpoint.value,
    isBlocked: notificationPermission.value === "denied",
    isRenewalPending: isRenewalPending.value,
  });
  if (warning === null) return null;
  return (
    <p class="notice warning">
      <strong>{warning.text}</strong>{" "}
      <a href="/phones">{warning.kind === "noneConfirmed" ? sendTestLabel : fixLabel}</a>
    </p>
  );
}
