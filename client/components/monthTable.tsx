import { useRef } from "preact/hooks";
import { legendLabel } from "#text/dayChart.ts";
import * as text from "#text/daysScreen.ts";
import { DayStrip, StripHours, type StripScale } from "../charts/dayStrip.tsx";
import { type Figures, isKnown, type MonthDay, type MonthWeek, stripHours } from "../charts/monthDays.ts";
import { useWidth } from "../charts/useWidth.ts";
import { dayText, timeText } from "../text/clock.ts";
import { dateFormat, numberText } from "../text/format.ts";

interface TableProps {
  readonly feeder: string;
  readonly weeks: readonly MonthWeek[];
  readonly zone: string;
  readonly today: string;
  readonly chosen: string | null; // the day that is shown as a ribbon
}

/** A row for each day, with its figures at the end; the sums of a week above its days. */
export function MonthTable(props: TableProps) {
  const frame = useRef<HTMLTableElement>(null);
  const whole = useWidth(frame, 340);
  const { weeks, zone } = props;
  const [from, to] = stripHours(weeks, zone);
  const scale: StripScale = {
    from,
    to,
    width: Math.max(120, whole - besideStrip),
    most: mostOf(weeks),
    hourOf: hourOf(zone),
  };
  return (
    <>
      <table class="month" ref={frame} aria-label={text.tableLabel}>
        <thead>
          <tr>
            <th scope="col">{text.dayColumn}</th>
            <th scope="col">
              <span class="hidden">{text.hoursColumn}</span>
              <StripHours {...scale} />
            </th>
            <th scope="col">{text.visitsColumn}</th>
            <th scope="col">{text.pressesColumn}</th>
            <th scope="col">{text.paidColumn}</th>
          </tr>
        </thead>
        {weeks.map((week) => (
          <Week key={week.monday} {...props} week={week} scale={scale} />
        ))}
      </table>
      <StripLegend />
    </>
  );
}

/** CSS pixels of the other columns: days and three figures. */
const besideStrip = 222;

const mostOf = (weeks: readonly MonthWeek[]) =>
  Math.max(
    1,
    ...weeks.flatMap(({ days }) =>
      days.flatMap(({ hours }) =>
        hours.flatMap(({ counts }) => Object.values(counts ?? {}).map((count) => count ?? 0)),
      ),
    ),
  );

const hourOf = (zone: string) => (at: number) => {
  const [hours = 0, minutes = 0] = timeText(new Date(at).toISOString(), zone).split(":").map(Number);
  return hours + minutes / 60;
};

/** "Tue 24": the month is the page's. */
const shortDay = (date: string) =>
  dateFormat("UTC", "shortDay", { weekday: "short", day: "numeric" }).format(new Date(`${date}T12:00:00Z`));

function Week({
  week,
  scale,
  feeder,
  today,
  chosen,
}: TableProps & { readonly week: MonthWeek; readonly scale: StripScale }) {
  const parts = [
    weekText(week),
    ...(week.figures.grams === null ? [] : [text.weekGramsText(numberText(week.figures.grams))]),
    ...(week.knownDays < week.days.length ? [text.weekKnownText(week.knownDays, week.days.length)] : []),
  ];
  return (
    <tbody>
      <tr class="week">
        <th scope="row" colSpan={2}>
          {parts.join(" · ")}
        </th>
        <FigureCells figures={week.figures} />
      </tr>
      {week.days.map((day) => (
        <tr key={day.date} class={day.date === chosen ? "chosen" : undefined}>
          <th scope="row">
            <a href={`/feeders/${feeder}/days?day=${day.date}`} aria-current={day.date === chosen ? "date" : undefined}>
              {shortDay(day.date)}
            </a>
          </th>
          <td>
            <DayStrip day={day} scale={scale} label={stripLabel(day, today)} />
          </td>
          <FigureCells figures={day.figures} />
        </tr>
      ))}
    </tbody>
  );
}

/** The days that it has in this month. */
function weekText({ days }: MonthWeek): string {
  const dates = dateFormat("UTC", "dayOfMonth", { day: "numeric", month: "short" });
  const [first, last] = [days.at(-1)?.date ?? "", days[0]?.date ?? ""].map((date) => new Date(`${date}T12:00:00Z`));
  return first === undefined || last === undefined ? "" : dates.formatRange(first, last);
}

function stripLabel({ date, hours }: MonthDay, today: string): string {
  const name = dayText(date, today);
  const most = Math.max(0, ...hours.map(({ counts }) => counts?.visits ?? 0));
  const busiest = hours.find(({ counts }) => counts !== null && counts.visits === most);
  return most === 0 || busiest === undefined
    ? text.plainStripText(name)
    : text.stripText(name, text.hourText(busiest.hour));
}

function FigureCells({ figures }: { readonly figures: Figures }) {
  if (!isKnown(figures)) {
    return (
      <td colSpan={3} class="unknown">
        {text.notKnownLong}
      </td>
    );
  }
  const { visits, presses, paid, unpaid } = figures;
  return (
    <>
      <Figure value={visits} />
      <Figure value={presses} />
      <td>
        {paid === null ? <Unknown /> : numberText(paid)}
        {unpaid !== null && unpaid > 0 && (
          <span class="unpaid">
            +{numberText(unpaid)}
            <span class="hidden"> {text.unpaidText}</span>
          </span>
        )}
      </td>
    </>
  );
}
const Figure = ({ value }: { readonly value: number | null }) => (
  <td>{value === null ? <Unknown /> : numberText(value)}</td>
);
const Unknown = () => (
  <>
    <span aria-hidden="true">{text.notKnown}</span>
    <span class="hidden">{text.notKnownLong}</span>
  </>
);

const StripLegend = () => (
  <ul class="chart-legend" aria-label={legendLabel}>
    {(
      [
        ["visit", text.visitName],
        ["press", text.pressName],
        ["deposit", text.depositName],
        ["unpaid", text.unpaidName],
      ] as const
    ).map(([kind, name]) => (
      <li key={kind}>
        <svg class="day-chart" viewBox="-9 -9 18 18" width="18" height="18" aria-hidden="true">
          <rect class={`bar ${kind}`} x="-3" y="-7" width="6" height="14" />
        </svg>
        {name}
      </li>
    ))}
    <li>
      <svg class="day-chart" viewBox="-9 -9 18 18" width="18" height="18" aria-hidden="true">
        <path class="hatching" d="M-7 8L-3 -8M-1 8L3 -8M5 8L9 -8" />
      </svg>
      {text.unknownName}
    </li>
  </ul>
);
