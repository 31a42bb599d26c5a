import { useState } from "preact/hooks";
import { useLocation } from "preact-iso";
import * as text from "#text/daySection.ts";
import type { DayView, FeederView, YardView } from "../../server/contract/api.ts";
import { markName } from "../charts/dayChart.tsx";
import { now } from "../state/clock.ts";
import { currentDate, dayError, findDay, loadDay } from "../state/days.ts";
import { connectionState } from "../state/home.ts";
import { capitalize, massText } from "../text/amount.ts";
import { dayText, momentText, shiftDate, timeText } from "../text/clock.ts";
import { numberText } from "../text/format.ts";
import { DayRibbon } from "./dayRibbon.tsx";
import { LinkedText } from "./linkedText.tsx";
import { useLoad } from "./useLoad.ts";

/** The feeder's day as a chart, with its summary, its table, and the days before it. */
export function DaySection(props: { readonly feeder: FeederView; readonly yard: YardView }) {
  const { feeder, yard } = props;
  const today = currentDate(feeder.id, now.value, yard.zone);
  const { query } = useLocation();
  const [back, setBack] = useState(() => daysBack(query.day, today)); // before today, so that midnight moves the chart on
  const date = shiftDate(today, -back);
  const name = capitalize(dayText(date, today));
  return (
    <section class="day" aria-labelledby="day-title">
      <div class="day-head">
        <h2 id="day-title" aria-live="polite">
          {name}
        </h2>
        <div class="day-navigation">
          <button type="button" onClick={() => setBack(back + 1)}>
            <span aria-hidden="true">←</span> {text.previousDayLabel}
          </button>
          <button type="button" disabled={back === 0} onClick={() => setBack(Math.max(0, back - 1))}>
            {text.nextDayLabel} <span aria-hidden="true">→</span>
          </button>
        </div>
      </div>
      <LoadedDay feeder={feeder} yard={yard} date={date} today={today} />
      {findDay(feeder.id, date) !== null && (
        <p class="page-link">
          <a href={`/feeders/${feeder.id}/days`}>{text.allDaysLabel}</a>
        </p>
      )}
    </section>
  );
}

interface LoadedDayProps {
  readonly feeder: FeederView;
  readonly yard: YardView;
  readonly date: string;
  readonly today: string;
}

/** One day, loaded when it is shown, and again with each report while it runs. */
export function LoadedDay({ feeder, yard, date, today }: LoadedDayProps) {
  // A past day doesn't change with each report; today does.
  const freshness = date === today ? feeder.revision : 0;
  const waitMs = freshness === 0 || findDay(feeder.id, date) === null ? 0 : 2_000;
  useLoad(() => loadDay(feeder.id, date), [feeder.id, date, freshness], waitMs);
  const known = findDay(feeder.id, date);
  if (known !== null) return <DayContent stored={known} feeder={feeder} yard={yard} />;
  return (
    <p class="empty loading">
      {dayError.value ?? (connectionState.value === "offline" ? text.notStoredText : text.loadingText)}
    </p>
  );
}

interface DayContentProps {
  readonly stored: NonNullable<ReturnType<typeof findDay>>;
  readonly feeder: FeederView;
  readonly yard: YardView;
}

function DayContent(props: DayContentProps) {
  const { yard } = props;
  const { view, asOf } = props.stored;
  return (
    <>
      {/* A day that an earlier build stored on this phone lacks it. */}
      {(view as Partial<DayView>).extentText !== undefined && <p class="hint extent">{view.extentText}</p>}
      <DayRibbon {...props} />
      <p class="day-text">{view.text}</p>
      {connectionState.value === "offline" && (
        <p class="hint">{text.dataTimeText(momentText(new Date(asOf).toISOString(), now.value, yard.zone))}</p>
      )}
      {view.light.every((span) => span.kind === "unknown") && (
        <p class="hint">
          <LinkedText text={text.noLocationText} hrefs={[`/yards/${yard.id}`]} />
        </p>
      )}
      <DayTable day={view} zone={yard.zone} />
    </>
  );
}

/** Days before today, of the day that a link names in its query. */
function daysBack(day: string | undefined, today: string): number {
  const back = Math.round((Date.parse(today) - Date.parse(day ?? today)) / 86_400_000);
  return Number.isFinite(back) ? Math.max(0, back) : 0;
}

function DayTable(props: { readonly day: DayView; readonly zone: string }) {
  const { counts, marks } = props.day;
  return (
    <details>
      <summary>{text.detailsSummary}</summary>
      <dl class="numbers">
        <Count name={text.visitsName} value={numberText(counts.visits)} />
        <Count name={text.pressesName} value={numberText(counts.presses)} />
        <Count name={text.depositsName} value={numberText(counts.deposits)} />
        <Count name={text.portionsName} value={numberText(counts.portions)} />
        <Count
          name={text.foodName}
          value={counts.gramsGiven === null ? text.foodUnknownText : massText(counts.gramsGiven)}
        />
      </dl>
      {marks.length > 0 && (
        // biome-ignore lint/a11y/noNoninteractiveTabindex: a region that scrolls must be reachable by keyboard (WCAG 2.1.1)
        <section class="scroll" tabIndex={0} aria-label={text.eventsLabel}>
          <table>
            <thead>
              <tr>
                <th scope="col">{text.timeColumn}</th>
                <th scope="col">{text.eventColumn}</th>
                <th scope="col">{text.detailColumn}</th>
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
