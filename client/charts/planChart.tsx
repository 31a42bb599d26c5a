import * as text from "#text/planScreen.ts";
import type { PlannedDayView } from "../../server/contract/api.ts";
import { timeText } from "../text/clock.ts";

/** One day of a plan as a line of 24 hours with a seed for each time of free food, and an open one for hard frost. */

const [width, height, middle] = [480, 34, 15];
const dayMs = 86_400_000;

export function PlanChart(props: { readonly day: PlannedDayView; readonly name: string; readonly zone: string }) {
  const { day, name, zone } = props;
  const x = (at: string) => Math.round(width * shareOfDay(at, zone));
  const [first = "", last = first] = [day.free[0], day.free.at(-1)];
  const label = text.chartText(
    name,
    day.free.length,
    first === "" ? "" : timeText(first, zone),
    last === "" ? "" : timeText(last, zone),
  );
  return (
    <svg class="plan-day" viewBox={`-6 0 ${width + 12} ${height}`} role="img" aria-label={label}>
      {day.lit && (
        <rect
          class="daylight"
          x={x(day.lit.from)}
          width={Math.max(0, x(day.lit.to) - x(day.lit.from))}
          y="4"
          height={middle + 3}
        />
      )}
      <line class="ground" x1="0" x2={width} y1={middle + 7} y2={middle + 7} />
      {[0, 6, 12, 18, 24].map((hour) => (
        <text key={hour} class="hour" x={(width * hour) / 24} y={height - 2} text-anchor="middle">
          {hour}
        </text>
      ))}
      {day.frost.map((at) => (
        <ellipse key={at} class="frost" cx={x(at)} cy={middle} rx="3" ry="5" />
      ))}
      {day.free.map((at) => (
        <ellipse key={at} class="free" cx={x(at)} cy={middle} rx="3" ry="5" />
      ))}
    </svg>
  );
}

/** By the yard's clock: on a day of 23 or 25 hours, noon is in the middle all the same. */
function shareOfDay(at: string, zone: string): number {
  const [hours = 0, minutes = 0] = timeText(at, zone).split(":").map(Number);
  return ((hours * 60 + minutes) * 60_000) / dayMs;
}
