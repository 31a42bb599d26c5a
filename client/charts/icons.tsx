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

/** Two bars, a broken wave, a bench, a lidded box, a bell that lies down. */
const markPaths = {
  paused: "M5 3v12M12 3v12",
  silent: "M1 9c2-5 4-5 5 0M12 9c1 5 3 5 5 0M8.5 4v10",
  onBench: "M1 7h16M4 7v8M14 7v8M7 7V3h4v4",
  putAway: "M2 6h14v9H2zM2 6l2-3h10l2 3M7 9h4",
  shelved: "M1 14h16M4 11V8a4 4 0 0 1 8 0v3zM14 4h3l-3 4h3",
} as const;

export const MarkIcon = ({ mark }: { readonly mark: keyof typeof markPaths }) => (
  <svg class="mark-icon" viewBox="0 0 18 18" width="16" height="16" aria-hidden="true">
    <path d={markPaths[mark]} />
  </svg>
);

/** A bird on a branch where all is well, a flag where something is to be done, an empty branch where it isn't known. */
export function VerdictIcon({ kind }: { readonly kind: string }) {
  const branch = "M2 33h40M30 33l6-5";
  const shape =
    kind === "well"
      ? `${branch}M14 33v-4M20 33v-4M7 22c4 6 14 8 20 3 3-3 3-8 6-9l4 1-4-4c-3-4-9-3-10 2-1 3-3 5-8 6L2 19z`
      : kind === "you"
        ? `${branch}M12 33V6l18 7-18 7`
        : branch;
  return (
    <svg class="verdict-icon" viewBox="0 0 44 38" width="44" height="38" aria-hidden="true">
      <path d={shape} />
    </svg>
  );
}

export function TabIcon(props: { readonly name: "feeders" | "days" | "training" | "you" }) {
  const paths = {
    feeders: "M4 3h16v8l-5.5 7v3h-5v-3L4 11zM4 9h16",
    days: "M3 20h18M5 20v-5M9.5 20V9M14 20v-8M18.5 20V5",
    training: "M3 20h5v-5h5v-5h5V5h3",
    you: "M12 11.5a4 4 0 1 0 0-8 4 4 0 0 0 0 8zM4.5 21c0-9 15-9 15 0",
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
