import type { MeasureView, RatesView, YardView } from "../../server/contract/api.ts";
import { AlarmMonthChart } from "../charts/alarmMonthChart.tsx";
import { Screen } from "../components/screen.tsx";
import { useLoad } from "../components/useLoad.ts";
import { alarmRates, alarmRatesError, loadAlarmRates } from "../state/alarmRates.ts";
import { now } from "../state/clock.ts";
import { connectionState, yards } from "../state/home.ts";
import { capitalize } from "../text/amount.ts";
import { dayText, localDate, momentText } from "../text/clock.ts";

/** How well the yard's alarms themselves do their work: words first, then a month in strokes, then the numbers. */
export function AlarmRatesScreen(props: { readonly id: string }) {
  useLoad(() => loadAlarmRates(props.id), [props.id]);
  const yard = yards.value.find((each) => each.id === props.id);
  const known = alarmRates.value.get(props.id);
  if (yard === undefined) {
    return (
      <Screen title="The alarms themselves" back={{ href: "/", name: "Feeders" }}>
        <p class="empty">This yard isn't known on this phone.</p>
      </Screen>
    );
  }
  return (
    <Screen
      title="The alarms themselves"
      practice={yard.practice}
      back={{ href: `/yards/${yard.id}`, name: yard.name }}
    >
      {known === undefined ? (
        <p class="empty">
          {alarmRatesError.value ??
            (connectionState.value === "offline"
              ? "This isn't on the phone, and there is no connection."
              : "Counting a month of alarms…")}
        </p>
      ) : (
        <>
          <AlarmRates view={known.view} yard={yard} />
          {connectionState.value === "offline" && (
            <p class="hint">As of {momentText(new Date(known.asOf).toISOString(), now.value, yard.zone)}.</p>
          )}
        </>
      )}
    </Screen>
  );
}

function AlarmRates({ view, yard }: { readonly view: RatesView; readonly yard: YardView }) {
  const [first, ...others] = view.texts;
  const today = localDate(now.value, yard.zone);
  return (
    <>
      <p class="rates-words">{first}</p>
      {others.map((words) => (
        <p key={words} class="hint">
          {words}
        </p>
      ))}
      <section aria-labelledby="change-title">
        <h2 id="change-title">What to change</h2>
        {view.findings.length === 0 ? (
          <p>Nothing. They come seldom enough to be believed.</p>
        ) : (
          <ul>
            {view.findings.map((words) => (
              <li key={words}>{words}</li>
            ))}
          </ul>
        )}
      </section>
      {view.days.length > 0 && (
        <figure class="strokes">
          <AlarmMonthChart days={view.days} />
          <figcaption>
            <span>{view.days.length > 1 && capitalize(dayText(view.days[0]?.date ?? today, today))}</span>
            <span>{capitalize(dayText(view.days.at(-1)?.date ?? today, today))}</span>
          </figcaption>
          <p class="hint">A stroke is an alarm, one with a tip says “act now”; a dot is a day with notes.</p>
        </figure>
      )}
      <AlarmNumbers view={view} yard={yard} />
    </>
  );
}

function AlarmNumbers({ view, yard }: { readonly view: RatesView; readonly yard: YardView }) {
  const moment = (at: string) => momentText(at, now.value, yard.zone);
  return (
    <section aria-labelledby="numbers-title">
      <h2 id="numbers-title">In numbers</h2>
      <details>
        <summary>Beside the standard's ceilings</summary>
        <p class="hint">
          The standard's figures are for somebody who sits before a console all day. A phone in a pocket should never
          come near them.
        </p>
        <dl class="numbers">
          {view.measures.map((measure) => (
            <Measure key={measure.name} measure={measure} />
          ))}
        </dl>
        <p class="hint">
          The ceilings a week are our own, the others are those of ANSI/ISA-18.2-2016, IEC 62682:2014 and EEMUA 191.
        </p>
      </details>
      {view.frequentAlarms.length > 0 && (
        <details>
          <summary>Which alarms came most often</summary>
          <dl class="numbers">
            {view.frequentAlarms.map(({ name, alarmCount, sharePercent }) => (
              <div key={name}>
                <dt>{capitalize(name)}</dt>
                <dd>
                  {alarmCount}, {sharePercent} %
                </dd>
              </div>
            ))}
          </dl>
        </details>
      )}
      {view.standing.length > 0 && (
        <details>
          <summary>What has stood for more than a day</summary>
          <ul>
            {view.standing.map(({ name, since }) => (
              <li key={name}>
                {capitalize(name)}: since {moment(since)}.
              </li>
            ))}
          </ul>
        </details>
      )}
    </section>
  );
}

function Measure({ measure: { name, value, limit, isOverLimit } }: { readonly measure: MeasureView }) {
  return (
    <div>
      <dt>{name}</dt>
      <dd class={isOverLimit ? "over" : undefined}>
        {value}
        {isOverLimit && " – over"}
        {limit && <small>ceiling: {limit}</small>}
      </dd>
    </div>
  );
}
