import type { JSX } from "preact";
import type { AlarmView, DayMark } from "../../server/contract/api.ts";

/** Our own small drawings. Each has a shape of its own, so that none is told from another by colour alone. */

/** A pennant on a stick: filled for "act now", half for "act today", only the stick and a knot for the digest. */
export function PriorityIcon(props: { readonly priority: AlarmView["priority"] }) {
  return (
    <svg class={`pennant ${props.priority}`} viewBox="0 0 24 28" width="24" height="28" aria-hidden="true">
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

/** A mark of the ribbon, centred on 0,0 and about 12 wide. */
export function MarkIcon(props: { readonly kind: DayMark["kind"]; readonly unpaid?: boolean }): JSX.Element {
  switch (props.kind) {
    case "visit": // a bird's foot
      return <path class="ink-line" d="M0 6V-1M0 -1L-4.5 -6M0 -1L0 -7M0 -1L4.5 -6" />;
    case "press": // a button seen from the side, pressed
      return <path class="ink-line" d="M-5 5.5H5M0 -6V1.5M-4 -2L0 2L4 -2" />;
    case "deposit": // a crown cap from above, crimped; hollow where it went unpaid
      return <path class={props.unpaid ? "ink-line hollow" : "ink-fill"} d={crimped} />;
    case "portion": // a kernel falling
      return <path class="kernel" d="M0 -6C4 -2 4.5 5 0 6C-4.5 5 -4 -2 0 -6Z" />;
    case "refill": // food poured from a scoop
      return <path class="ink-line" d="M-7 -5H5L2 0H-7ZM3 1L5 6M0 2L1 6" />;
    case "trouble": // a pencilled query
      return <path class="ink-line" d="M-3 -4C-3 -8 4 -8 3.5 -3.5C3 -1 0 -1 0 2M0 5.5V6" />;
    case "note": // a stick with a knot, as beside its title
      return <path class="ink-line" d="M-3 -7V7M-3 -3.5a3 3 0 1 0 6 0a3 3 0 1 0 -6 0" />;
    case "alarm":
      return <path class="alarm-fill" d="M-4 -7V7M-4 -7L6 -3L-4 1Z" />;
  }
}

const crimped = (() => {
  const points = [];
  for (let step = 0; step < 24; step++) {
    const reach = step % 2 === 0 ? 6.5 : 5;
    const turn = (step / 24) * 2 * Math.PI;
    points.push(`${(reach * Math.cos(turn)).toFixed(1)} ${(reach * Math.sin(turn)).toFixed(1)}`);
  }
  return `M${points.join("L")}Z`;
})();

export function TabIcon(props: { readonly name: "feeders" | "phones" | "practice" | "cautions" }) {
  const paths = {
    feeders: "M4 3h16v8l-5.5 7v3h-5v-3L4 11zM4 9h16",
    phones: "M7 2.5h10v19H7zM10.5 18.5h3M10 6.5c1.5-1.5 2.5-1.5 4 0",
    practice: "M4 20L16.5 7.5l2.5 2.5L6.5 22zM14 10l2.5 2.5M5 4l3 3M3 9h4M10 3v4",
    cautions: "M12 3L22 20.5H2zM12 9.5v5.5M12 17.5v.6",
  };
  return (
    <svg viewBox="0 0 24 24" width="24" height="24" class="tab-glyph" aria-hidden="true">
      <path d={paths[props.name]} />
    </svg>
  );
}

export const CheckIcon = () => (
  <svg viewBox="0 0 20 20" width="20" height="20" class="tick" aria-hidden="true">
    <path d="M3 11l5 5L17 4" />
  </svg>
);
