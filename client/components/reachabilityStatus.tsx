import { reachabilityTexts } from "#text/reachabilityStatus.ts";
import type { ReachabilityView } from "../../server/contract/api.ts";
import { CheckIcon } from "../charts/icons.tsx";

/** Whether somebody can be notified: by a mark and a text, not by colour alone. */
export const ReachabilityStatus = (props: { readonly kind: ReachabilityView["kind"]; readonly children?: string }) => (
  <p class={`reachability ${props.kind}`}>
    {props.kind === "confirmed" ? (
      <CheckIcon />
    ) : (
      <span class="reachability-sign" aria-hidden="true">
        {props.kind === "lost" ? "✕" : "?"}
      </span>
    )}
    <strong>{reachabilityTexts[props.kind]}</strong> {props.children}
  </p>
);
