import type { ReachView } from "../../server/contract/api.ts";
import { Tick } from "../drawing/glyphs.tsx";

const statusWords: Readonly<Record<ReachView["kind"], string>> = {
  proved: "Can be reached",
  unproved: "Not proved",
  lost: "Can't be reached",
};

/** Whether somebody can be told: by a mark, by words, and only last by colour. */
export const ReachMark = (props: { readonly kind: ReachView["kind"]; readonly children?: string }) => (
  <p class={`reach ${props.kind}`}>
    {props.kind === "proved" ? (
      <Tick />
    ) : (
      <span class="reach-sign" aria-hidden="true">
        {props.kind === "lost" ? "✕" : "?"}
      </span>
    )}
    <strong>{statusWords[props.kind]}.</strong> {props.children}
  </p>
);
