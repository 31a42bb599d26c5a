import { useEffect, useState } from "preact/hooks";
import { RibbonLine } from "../drawing/dayRibbon.tsx";
import { Screen } from "../parts/screen.tsx";
import { askUntilAnswered, isPassing } from "../reach/again.ts";
import type { Answer } from "../reach/api.ts";
import { knownDay, loadDay, runningDate } from "../state/days.ts";
import { findFeeder, line, returns } from "../state/home.ts";
import { now } from "../state/now.ts";
import { sentence } from "../words/amount.ts";
import { dayWords, shiftDate } from "../words/clock.ts";

const atATime = 7;

/** The days one under the other, so that a change of habit can be seen: a winter is a strip of such ribbons. */
export function DaysScreen(props: { readonly id: string }) {
  const [shown, setShown] = useState(atATime);
  const found = findFeeder(props.id);
  const zone = found?.yard.zone ?? "UTC";
  const today = runningDate(props.id, now.value, zone);
  useEffect(() => {
    let left = false;
    // One after the other: on a weak line the newest should come first, not all of them last.
    const fetchMissing = async (): Promise<Answer<unknown>> => {
      for (let back = 0; back < shown && !left; back++) {
        const date = shiftDate(today, -back);
        if (back > 0 && knownDay(props.id, date) !== null) continue;
        const answer = await loadDay(props.id, date);
        if (isPassing(answer)) return answer;
      }
      return { kind: "ok", value: null };
    };
    const end = askUntilAnswered(fetchMissing);
    return () => {
      left = true;
      end();
    };
  }, [props.id, today, shown, returns.value]);
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
          const known = knownDay(feeder.id, date);
          return (
            <li key={date}>
              <a href={`/feeders/${feeder.id}?day=${date}`}>{sentence(dayWords(date, today))}</a>
              {known?.view.marks.length === 0 && <span class="since"> nothing recorded</span>}
              {known === null ? (
                <p class="empty">{line.value === "cut" ? "Not on this phone." : "…"}</p>
              ) : (
                <RibbonLine day={known.view} zone={zone} />
              )}
            </li>
          );
        })}
      </ol>
      {shown < 2 * atATime && (
        <div class="answers">
          <button type="button" onClick={() => setShown(shown + atATime)}>
            A week earlier
          </button>
        </div>
      )}
    </Screen>
  );
}
