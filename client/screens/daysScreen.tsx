import { useEffect, useRef, useState } from "preact/hooks";
import { loadingText } from "#text/common.ts";
import { chartText, notFoundTitle, nothingRecordedText, notOnPhoneText, olderLabel, title } from "#text/daysScreen.ts";
import { feederNotFoundText } from "#text/screens.ts";
import type { DayView } from "../../server/contract/api.ts";
import type { ApiResult } from "../api/api.ts";
import { isTemporary, retryUntilAnswered } from "../api/retry.ts";
import { DayChartRow } from "../charts/dayChart.tsx";
import { layoutDay } from "../charts/dayLayout.ts";
import { useWidth } from "../charts/useWidth.ts";
import { Screen } from "../components/screen.tsx";
import { now } from "../state/clock.ts";
import { currentDate, findDay, loadDay } from "../state/days.ts";
import { connectionState, findFeeder, reconnectCount } from "../state/home.ts";
import { capitalize } from "../text/amount.ts";
import { dayText, shiftDate, timeText } from "../text/clock.ts";
import { notFoundScreen } from "./notFound.tsx";

const daysPerPage = 7;

/** The days one under the other, so that a change of habit can be seen. */
export function DaysScreen(props: { readonly id: string }) {
  const [shown, setShown] = useState(daysPerPage);
  const found = findFeeder(props.id);
  const zone = found?.yard.zone ?? "UTC";
  const today = currentDate(props.id, now.value, zone);
  useMissingDays(props.id, today, shown);
  if (found === null) return notFoundScreen(notFoundTitle, feederNotFoundText);
  const { id, name, practice } = found.feeder;
  const dates = Array.from({ length: shown }, (_, back) => shiftDate(today, -back));
  return (
    <Screen title={title(name)} practice={practice} back={{ href: `/feeders/${id}`, name }}>
      <p class="hint">{chartText}</p>
      <ol class="day-strip" reversed>
        {dates.map((date) => (
          <DayEntry key={date} feeder={id} date={date} today={today} zone={zone} />
        ))}
      </ol>
      {shown < 2 * daysPerPage && (
        <div class="actions">
          <button type="button" onClick={() => setShown(shown + daysPerPage)}>
            {olderLabel}
          </button>
        </div>
      )}
    </Screen>
  );
}

/** Loads today and those of the `shown` days that are not on the phone. */
function useMissingDays(feeder: string, today: string, shown: number): void {
  useEffect(() => {
    let isLeft = false;
    // One after the other: on a weak connection the newest should come first, not all of them last.
    const loadMissing = async (): Promise<ApiResult<unknown>> => {
      for (let back = 0; back < shown && !isLeft; back++) {
        const date = shiftDate(today, -back);
        if (back > 0 && findDay(feeder, date) !== null) continue;
        const result = await loadDay(feeder, date);
        if (isTemporary(result)) return result;
      }
      return { kind: "ok", value: null };
    };
    const end = retryUntilAnswered(loadMissing);
    return () => {
      isLeft = true;
      end();
    };
  }, [feeder, today, shown, reconnectCount.value]);
}

function DayEntry(props: {
  readonly feeder: string;
  readonly date: string;
  readonly today: string;
  readonly zone: string;
}) {
  const { feeder, date, today, zone } = props;
  const day = findDay(feeder, date)?.view;
  return (
    <li>
      <a href={`/feeders/${feeder}?day=${date}`}>{capitalize(dayText(date, today))}</a>
      {day?.marks.length === 0 && <span class="since"> {nothingRecordedText}</span>}
      {day === undefined ? (
        <p class="empty">{connectionState.value === "offline" ? notOnPhoneText : loadingText}</p>
      ) : (
        <DayRow day={day} zone={zone} />
      )}
    </li>
  );
}

function DayRow({ day, zone }: { readonly day: DayView; readonly zone: string }) {
  const frame = useRef<HTMLDivElement>(null);
  const width = useWidth(frame, 340);
  const layout = layoutDay(day, width, (at) => timeText(at, zone));
  return (
    <div class="chart-frame" ref={frame}>
      <DayChartRow layout={layout} width={width} text={day.text} />
    </div>
  );
}
