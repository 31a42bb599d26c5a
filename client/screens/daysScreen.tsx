import { useEffect, useRef } from "preact/hooks";
import { useLocation } from "preact-iso";
import * as text from "#text/daysScreen.ts";
import { feederNotFoundText } from "#text/screens.ts";
import type { FeederView, HistoryView, YardView } from "../../server/contract/api.ts";
import { isKnown, monthQueries, monthWeeks, nextMonth, previousMonth } from "../charts/monthDays.ts";
import { LoadedDay } from "../components/daySection.tsx";
import { MonthTable } from "../components/monthTable.tsx";
import { Screen } from "../components/screen.tsx";
import { useHistories } from "../components/useHistories.tsx";
import { now, serverNow } from "../state/clock.ts";
import { currentDate } from "../state/days.ts";
import type { HistoryQuery } from "../state/histories.ts";
import { findFeeder } from "../state/home.ts";
import { capitalize } from "../text/amount.ts";
import { dayText, localDate, shiftDate } from "../text/clock.ts";
import { dateFormat } from "../text/format.ts";
import { notFoundScreen } from "./notFound.tsx";
import "../style/days.css";
import "../style/months.css";

/** A feeder's days, a month at a time; the month and the day that is open are in the address. */
export function DaysScreen(props: { readonly id: string }) {
  const { query } = useLocation();
  const found = findFeeder(props.id);
  if (found === null) return notFoundScreen(text.notFoundTitle, feederNotFoundText);
  const { feeder, yard } = found;
  const today = currentDate(feeder.id, now.value, yard.zone);
  const day = isDate(query.day) && query.day <= today ? query.day : null;
  const asked = isMonth(query.month) ? query.month : (day ?? today).slice(0, 7);
  const [month = asked] = [asked, today.slice(0, 7)].sort(); // none that is to come
  return (
    <Screen
      title={text.title(feeder.name)}
      practice={feeder.practice}
      back={{ href: `/feeders/${feeder.id}`, name: feeder.name }}
      wide
    >
      {day !== null && <OpenDay key={day} feeder={feeder} yard={yard} date={day} today={today} />}
      <Month key={month} feeder={feeder} yard={yard} month={month} chosen={day} />
    </Screen>
  );
}

const isDate = (text: string | undefined): text is string =>
  /^\d{4}-\d\d-\d\d$/.test(text ?? "") && !Number.isNaN(Date.parse(text ?? ""));
const isMonth = (text: string | undefined): text is string => isDate(`${text}-01`);

interface OpenDayProps {
  readonly feeder: FeederView;
  readonly yard: YardView;
  readonly date: string;
  readonly today: string;
}

/** One day as a ribbon. Each day has its own address, so that back and forward go through them, and a link can be sent. */
function OpenDay({ feeder, yard, date, today }: OpenDayProps) {
  const heading = useRef<HTMLHeadingElement>(null);
  useEffect(() => heading.current?.scrollIntoView?.({ block: "nearest" }), []);
  const hrefOf = (day: string) => `/feeders/${feeder.id}/days?day=${day}`;
  return (
    <section class="day" aria-labelledby="open-day">
      <div class="day-head">
        <h2 id="open-day" ref={heading}>
          {capitalize(dayText(date, today))}
        </h2>
        <nav class="day-navigation" aria-label={text.dayColumn}>
          <a class="button" href={hrefOf(shiftDate(date, -1))}>
            <span aria-hidden="true">←</span> {text.previousDayLabel}
          </a>
          {date < today && (
            <a class="button" href={hrefOf(shiftDate(date, 1))}>
              {text.nextDayLabel} <span aria-hidden="true">→</span>
            </a>
          )}
        </nav>
      </div>
      <LoadedDay feeder={feeder} yard={yard} date={date} today={today} />
    </section>
  );
}

interface MonthProps {
  readonly feeder: FeederView;
  readonly yard: YardView;
  readonly month: string;
  readonly chosen: string | null;
}

function Month({ feeder, yard, month, chosen }: MonthProps) {
  const { zone } = yard;
  const today = localDate(now.value, zone);
  const isRunning = month === today.slice(0, 7);
  const queries = [...monthQueries(feeder.id, month, zone, today), firstQuery(feeder.id)];
  const { found, notice } = useHistories(queries, zone, [isRunning ? today : null]);
  const [byDay = null, ...others] = found;
  const byHour = others.slice(0, -1).flatMap((each) => each?.view ?? []);
  const firstDay = firstDayOf(found.at(-1)?.view ?? null, zone);
  const weeks =
    byDay === null ? [] : monthWeeks({ month, yard, now: Math.min(now.value, byDay.asOf) }, byDay.view, byHour);
  const isEmpty = weeks.every(({ days }) => days.every(({ figures }) => !isKnown(figures)));
  return (
    <section aria-labelledby="month-title">
      <h2 id="month-title">{monthText(month)}</h2>
      <MonthLinks feeder={feeder.id} month={month} last={today.slice(0, 7)} firstDay={firstDay} />
      {notice}
      {byDay !== null && isEmpty && <p class="empty">{text.nothingKnownText}</p>}
      {byDay !== null && !isEmpty && (
        <>
          <p>{text.sentence}</p>
          <MonthTable feeder={feeder.id} weeks={weeks} zone={zone} today={today} chosen={chosen} />
        </>
      )}
    </section>
  );
}

const tenYearsMs = 3_650 * 86_400_000;
/** Since when it has reported, to two weeks: so that nobody pages through empty months. */
const firstQuery = (feeder: string): HistoryQuery => {
  const to = serverNow();
  const iso = (at: number) => new Date(at).toISOString();
  return { name: "first", feeder, from: iso(to - tenYearsMs), to: iso(to), points: 270, columns: "reportedShare" };
};

/** The begin of the first span with a report; null: not loaded, or none. */
function firstDayOf(view: HistoryView | null, zone: string): string | null {
  const index = view?.columns.reportedShare?.findIndex((share) => share !== null) ?? -1;
  if (view === null || index < 0) return null;
  const before = view.lengthMinutes.slice(0, index).reduce((sum, minutes) => sum + minutes, 0);
  return localDate(Date.parse(view.from) + before * 60_000, zone);
}

const monthText = (month: string) =>
  dateFormat("UTC", "month", { month: "long", year: "numeric" }).format(new Date(`${month}-15T12:00:00Z`));

function MonthLinks(props: {
  readonly feeder: string;
  readonly month: string;
  readonly last: string;
  readonly firstDay: string | null;
}) {
  const { feeder, month, last, firstDay } = props;
  const hrefOf = (each: string) => `/feeders/${feeder}/days?month=${each}`;
  const first = firstDay?.slice(0, 7) ?? null;
  return (
    <nav class="choice-row months" aria-label={text.monthsLabel}>
      {(first === null || first < month) && (
        <a href={hrefOf(previousMonth(month))}>{text.earlierLabel(monthText(previousMonth(month)))}</a>
      )}
      {month < last && <a href={hrefOf(nextMonth(month))}>{text.laterLabel(monthText(nextMonth(month)))}</a>}
      {first !== null && first < previousMonth(month) && (
        <a href={hrefOf(first)}>{text.firstLabel(monthText(first))}</a>
      )}
    </nav>
  );
}
