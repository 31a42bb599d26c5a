import { useEffect, useState } from "preact/hooks";
import type { ApiResult } from "../api/api.ts";
import { isTemporary, retryUntilAnswered } from "../api/retry.ts";
import { DayChartRow } from "../charts/dayChart.tsx";
import { Screen } from "../components/screen.tsx";
import { now } from "../state/clock.ts";
import { currentDate, findDay, loadDay } from "../state/days.ts";
import { connectionState, findFeeder, reconnectCount } from "../state/home.ts";
import { capitalize } from "../text/amount.ts";
import { dayText, shiftDate } from "../text/clock.ts";

const daysPerPage = 7;

/** The days one under the other, so that a change of habit can be seen: a winter is a strip of such ribbons. */
export function DaysScreen(props: { readonly id: string }) {
  const [shown, setShown] = useState(daysPerPage);
  const found = findFeeder(props.id);
  const zone = found?.yard.zone ?? "UTC";
  const today = currentDate(props.id, now.value, zone);
  useEffect(() => {
    let left = false;
    // One after the other: on a weak line the newest should come first, not all of them last.
    const fetchMissing = async (): Promise<ApiResult<unknown>> => {
      for (let back = 0; back < shown && !left; back++) {
        const date = shiftDate(today, -back);
        if (back > 0 && findDay(props.id, date) !== null) continue;
        const answer = await loadDay(props.id, date);
        if (isTemporary(answer)) return answer;
      }
      return { kind: "ok", value: null };
    };
    const end = retryUntilAnswered(fetchMissing);
    return () => {
      left = true;
      end();
    };
  }, [props.id, today, shown, reconnectCount.value]);
  if (found === null) {
    return (
      <Screen title="Days" back={{ href: "/", name: "Feeders" }}>
        <p class="empty">This feeder isn't known on this phone.</p>
      </Screen>
    );
  }
  const { feeder } = found;
  const dates = Array.from({ length: shown }, (_, back) => shiftDate(today, -back));
  return (
    <Screen
      title={`Days of ${feeder.name}`}
      practice={feeder.practice}
      back={{ href: `/feeders/${feeder.id}`, name: feeder.name }}
    >
      <p class="hint">
        Strokes above the line are visits, below it portions; a dot is a deposit, hollow where it went unpaid; a pennant
        is an alarm. Night is drawn narrower. A day runs from dusk to dusk, and today up to now: after midnight its
        evening opens the next day.
      </p>
      <ol class="strip" reversed>
        {dates.map((date) => {
          const known = findDay(feeder.id, date);
          return (
            <li key={date}>
              <a href={`/feeders/${feeder.id}?day=${date}`}>{capitalize(dayText(date, today))}</a>
              {known?.view.marks.length === 0 && <span class="since"> nothing recorded</span>}
              {known === null ? (
                <p class="empty">{connectionState.value === "offline" ? "Not on this phone." : "…"}</p>
              ) : (
                <DayChartRow day={known.view} zone={zone} />
              )}
            </li>
          );
        })}
      </ol>
      {shown < 2 * daysPerPage && (
        <div class="answers">
          <button type="button" onClick={() => setShown(shown + daysPerPage)}>
            A week earlier
          </button>
        </div>
      )}
    </Screen>
  );
}
