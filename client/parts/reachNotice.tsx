import { line, phoneChanges, signedIn, yards } from "../state/home.ts";
import { ownEndpoint, permission } from "../state/phone.ts";
import { loadPhonesForHome, phones, rememberedEndpoint, renewalWaits } from "../state/phones.ts";
import { reachWarning } from "../words/reach.ts";
import { useLoad } from "./useLoad.ts";

/** On the first page: that nobody would be told. A notebook without a feeder has nothing to tell yet. */
export function ReachNotice() {
  const hasFeeders = yards.value.some((yard) => !yard.practice && yard.feeders.length > 0);
  const mayAsk = signedIn.value === "yes" && line.value !== "cut" && hasFeeders;
  useLoad(async () => (mayAsk ? loadPhonesForHome() : { kind: "ok", value: null }), [mayAsk, phoneChanges.value]);
  if (!hasFeeders || phones.value === null) return null;
  const warning = reachWarning(phones.value, {
    endpoint: ownEndpoint.value,
    remembered: rememberedEndpoint.value,
    denied: permission.value === "denied",
    renewalWaits: renewalWaits.value,
  });
  if (warning === null) return null;
  return (
    <p class="notice worry">
      <strong>{warning.words}</strong>{" "}
      <a href="/phones">{warning.kind === "noneProved" ? "Send a test" : "See to it"}</a>
    </p>
  );
}
