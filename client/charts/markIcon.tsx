import type { JSX } from "preact";
import type { DayMark } from "../../server/contract/api.ts";

/** A mark of the day chart, centred on 0,0 and about 12 wide. */
export function MarkIcon(props: { readonly kind: DayMark["kind"]; readonly unpaid?: boolean }): JSX.Element {
  switch (props.kind) {
    case "visit": // a bird's foot
      return <path class="ink-line" d="M0 6V-1M0 -1L-4.5 -6M0 -1L0 -7M0 -1L4.5 -6" />;
    case "press": // a button seen from the side, pressed
      return <path class="ink-line" d="M-5 5.5H5M0 -6V1.5M-4 -2L0 2L4 -2" />;
    case "deposit": // a crown cap from above, crimped; hollow where it got no portion
      return <path class={props.unpaid ? "ink-line hollow" : "ink-fill"} d={crimped} />;
    case "portion": // a kernel falling
      return <path class="kernel" d="M0 -6C4 -2 4.5 5 0 6C-4.5 5 -4 -2 0 -6Z" />;
    case "refill": // food poured from a scoop
      return <path class="ink-line" d="M-7 -5H5L2 0H-7ZM3 1L5 6M0 2L1 6" />;
    case "trouble": // a pencilled query
      return <path class="ink-line" d="M-3 -4C-3 -8 4 -8 3.5 -3.5C3 -1 0 -1 0 2M0 5.5V6" />;
    case "note": // a stick with a knot, as next to its title
      return <path class="ink-line" d="M-3 -7V7M-3 -3.5a3 3 0 1 0 6 0a3 3 0 1 0 -6 0" />;
    case "alarm":
      return <path class="alarm-fill" d="M-4 -7V7M-4 -7L6 -3L-4 1Z" />;
  }
}

const crimped = (() => {
  const points = [];
  for (let step = 0; step < 24; step++) {
    const radius = step % 2 === 0 ? 6.5 : 5;
    const angle = (step / 24) * 2 * Math.PI;
    points.push(`${(radius * Math.cos(angle)).toFixed(1)} ${(radius * Math.sin(angle)).toFixed(1)}`);
  }
  return `M${points.join("L")}Z`;
})();
