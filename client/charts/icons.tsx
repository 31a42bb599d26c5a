import type { AlarmView } from "../../server/contract/api.ts";

/** Our own small drawings. Each has its own shape, so that they differ not by colour alone. */

/** A flag on a stick: filled for "act now", half for "act today", only the stick and a knot for information. */
export function PriorityIcon(props: { readonly priority: AlarmView["priority"] }) {
  return (
    <svg class={`priority-flag ${props.priority}`} viewBox="0 0 24 28" width="24" height="28" aria-hidden="true">
      <path d="M5 2v25" class="stroke" />
      {props.priority === "urgent" && (
        <>
          <path d="M5 3l16 6.5L5 16z" class="fill" />
          <path d="M5 3l16 6.5L5 16z" class="stroke" />
        </>
      )}
      {props.priority === "soon" && (
        <>
          <path d="M5 9.5h16L5 16z" class="fill" />
          <path d="M5 3l16 6.5L5 16z" class="stroke" />
        </>
      )}
      {props.priority === "note" && <circle cx="5" cy="9" r="3.5" class="stroke hollow" />}
    </svg>
  );
}

export function TabIcon(props: { readonly name: "feeders" | "phones" | "practice" | "cautions" }) {
  const paths = {
    feeders: "M4 3h16v8l-5.5 7v3h-5v-3L4 11zM4 9h16",
    phones: "M7 2.5h10v19H7zM10.5 18.5h3M10 6.5c1.5-1.5 2.5-1.5 4 0",
    practice: "M4 20L16.5 7.5l2.5 2.5L6.5 22zM14 10l2.5 2.5M5 4l3 3M3 9h4M10 3v4",
    cautions: "M12 3L22 20.5H2zM12 9.5v5.5M12 17.5v.6",
  };
  return (
    <svg viewBox="0 0 24 24" width="24" height="24" class="tab-icon" aria-hidden="true">
      <path d={paths[props.name]} />
    </svg>
  );
}

export const CheckIcon = () => (
  <svg viewBox="0 0 20 20" width="20" height="20" class="tick" aria-hidden="true">
    <path d="M3 11l5 5L17 4" />
  </svg>
);
