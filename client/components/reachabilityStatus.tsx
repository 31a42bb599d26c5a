import type { ReachabilityView } from "../../server/contract/api.ts";
import { CheckIcon } from "../charts/icons.tsx";

const reachabilityText: Readonly<Record<ReachabilityView["kind"], string>> = {
  proved: "Can be reached",
  unproved: "Not proved",
  lost: "Can't be reached",
};

/** Whether somebody can be told: by a mark, by words, and only last by colour. */
export const ReachabilityStatus = (props: { readonly kind: ReachabilityView["kind"]; readonly children?: string }) => (
  <p class={`reach ${props.kind}`}>
    {props.kind === "proved" ? (
      <CheckIcon />
    ) : (
      <span class="reach-sign" aria-hidden="true">
        {props.kind === "lost" ? "✕" : "?"}
      </span>
    )}
    <strong>{reachabilityText[props.kind]}.</strong> {props.children}
  </p>
);
