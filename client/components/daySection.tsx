import { useState } from "preact/hooks";
import { useLocation } from "preact-iso";
import type { DayView, FeederView, YardView } from "../../server/contract/api.ts";
import { DayChart, DayChartLegend, markName } from "../charts/dayChart.tsx";
import { now } from "../state/clock.ts";
import { currentDate, dayError, findDay, loadDay } from "../state/days.ts";
import { connectionState } from "../state/home.ts";
import { capitalize, massText } from "../text/amount.ts";
import { dayText, momentText, shiftDate, timeText } from "../text/clock.ts";
import { useLoad } from "./useLoad.ts";

/** The feeder's day as a ribbon, with its words, its table, and the days before it. */
export function DaySection(props: { readonly feeder: FeederView; readonly yard: YardView }) {
  const { feeder, yard } = props;
  const today = currentDate(feeder.id, now.value, yard.zone);
  const { query } = useLocation();
  const [back, setBack] = useState(() => daysBack(query.day, today)); // before today, so that midnight moves the ribbon on
  const date = shiftDate(today, -back);
  // A day that is over doesn't change with each report; today does.
  const freshness = back === 0 ? feeder.revision : 0;
  const waitMs = freshness === 0 || findDay(feeder.id, date) === null ? 0 : 2_000;
  useLoad(() => loadDay(feeder.id, date), [feeder.id, date, freshness], waitMs);

  const known = findDay(feeder.id, date);
  const name = capitalize(dayText(date, today));
  return (
    <section class="day" aria-labelledby="day-title">
      <div class="day-head">
        <h2 id="day-title" aria-live="polite">
          {name}
        </h2>
        <div class="leaf">
          <button type="button" onClick={() => setBack(back + 1)}>
            <span aria-hidden="true">←</span> Day before
          </button>
          <button type="button" disabled={back === 0} onClick={() => setBack(Math.max(0, back - 1))}>
            Day after <span aria-hidden="true">→</span>
          </button>
        </div>
      </div>
      {known === null ? (
        <p class="empty fetching">
          {dayError.value ??
            (connectionState.value === "offline"
              ? "This day isn't on the phone, and there is no connection."
              : "Fetching the day…")}
        </p>
      ) : (
        <>
          {/* A day that an earlier build kept on this phone doesn't say it. */}
          {(known.view as Partial<DayView>).extentText !== undefined && (
            <p class="hint extent">{known.view.extentText}</p>
          )}
          <DayChart day={known.view} zone={yard.zone} nowMs={now.value} />
          <DayChartLegend day={known.view} />
          <p class="day-words">{known.view.text}</p>
          {connectionState.value === "offline" && (
            <p class="hint">As of {momentText(new Date(known.asOf).toISOString(), now.value, yard.zone)}.</p>
          )}
          {known.view.light.every((span) => span.kind === "unknown") && (
            <p class="hint">
              Night and twilight can't be drawn until the yard has a place.{" "}
              <a href={`/yards/${yard.id}`}>Say where it is</a>
            </p>
          )}
          <DayTable day={known.view} zone={yard.zone} />
          <p class="elsewhere">
            <a href={`/feeders/${feeder.id}/days`}>The days before, one under the other</a>
          </p>
        </>
      )}
    </section>
  );
}

/** A link may ask for a day that is over. */
function daysBack(asked: string | undefined, today: string): number {
  const back = Math.round((Date.parse(today) - Date.parse(asked ?? today)) / 86_400_000);
  return Number.isFinite(back) ? Math.max(0, back) : 0;
}

function DayTable(props: { readonly day: DayView; readonly zone: string }) {
  const { counts, marks } = props.day;
  return (
    <details>
      <summary>The day in numbers</summary>
      <dl class="numbers">
        <Count name="Visits" value={String(counts.visits)} />
        <Count name="Presses" value={String(counts.presses)} />
        <Count name="Deposits" value={String(counts.deposits)} />
        <Count name="Portions" value={String(counts.portions)} />
        <Count
          name="Food given"
          value={
            counts.gramsGiven === null
              ? "not known: nobody has said what a portion weighs"
              : massText(counts.gramsGiven)
          }
        />
      </dl>
      {marks.length > 0 && (
        // biome-ignore lint/a11y/noNoninteractiveTabindex: a region that scrolls must be reachable by keyboard (WCAG 2.1.1)
        <section class="scroll" tabIndex={0} aria-label="Everything that happened, by time">
          <table>
            <thead>
              <tr>
                <th scope="col">Time</th>
                <th scope="col">What</th>
                <th scope="col">Detail</th>
              </tr>
            </thead>
            <tbody>
              {marks.map((mark, index) => (
                <tr key={index}>
                  <td>{timeText(mark.at, props.zone)}</td>
                  <td>{markName(mark.kind)}</td>
                  <td>{mark.detail}</td>
                </tr>
              ))}
            </tbody>
          </table>
        </section>
      )}
    </details>
  );
}
const Count = (props: { readonly name: string; readonly value: string }) => (
  <div>
    <dt>{props.name}</dt>
    <dd>{props.value}</dd>
  </div>
);
