import type { MeasureView, RatesView, YardView } from "../../server/contract/api.ts";
import { AlarmStrokes } from "../drawing/alarmStrokes.tsx";
import { Screen } from "../parts/screen.tsx";
import { useLoad } from "../parts/useLoad.ts";
import { line, yards } from "../state/home.ts";
import { now } from "../state/now.ts";
import { loadRates, rates, ratesProblem } from "../state/rates.ts";
import { sentence } from "../words/amount.ts";
import { dayWords, localDate, whenWords } from "../words/clock.ts";

/** How well the yard's alarms themselves do their work: words first, then a month in strokes, then the numbers. */
export function RatesScreen(props: { readonly id: string }) {
  useLoad(() => loadRates(props.id), [props.id]);
  const yard = yards.value.find((each) => each.id === props.id);
  const known = rates.value.get(props.id);
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
          {ratesProblem.value ??
            (line.value === "cut"
              ? "This isn't on the phone, and there is no connection."
              : "Counting a month of alarms…")}
        </p>
      ) : (
        <>
          <Rates view={known.view} yard={yard} />
          {line.value === "cut" && (
            <p class="hint">As of {whenWords(new Date(known.asOf).toISOString(), now.value, yard.zone)}.</p>
          )}
        </>
      )}
    </Screen>
  );
}

function Rates({ view, yard }: { readonly view: RatesView; readonly yard: YardView }) {
  const [first, ...others] = view.words;
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
          <AlarmStrokes days={view.days} />
          <figcaption>
            <span>{view.days.length > 1 && sentence(dayWords(view.days[0]?.date ?? today, today))}</span>
            <span>{sentence(dayWords(view.days.at(-1)?.date ?? today, today))}</span>
          </figcaption>
          <p class="hint">A stroke is an alarm, one with a tip says “act now”; a dot is a day with notes.</p>
        </figure>
      )}
      <Numbers view={view} yard={yard} />
    </>
  );
}

function Numbers({ view, yard }: { readonly view: RatesView; readonly yard: YardView }) {
  const moment = (at: string) => whenWords(at, now.value, yard.zone);
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
      {view.loaders.length > 0 && (
        <details>
          <summary>Which alarms came most often</summary>
          <dl class="numbers">
            {view.loaders.map(({ name, alarms, sharePercent }) => (
              <div key={name}>
                <dt>{sentence(name)}</dt>
                <dd>
                  {alarms}, {sharePercent} %
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
                {sentence(name)}: since {moment(since)}.
              </li>
            ))}
          </ul>
        </details>
      )}
    </section>
  );
}

function Measure({ measure: { name, value, ceiling, over } }: { readonly measure: MeasureView }) {
  return (
    <div>
      <dt>{name}</dt>
      <dd class={over ? "over" : undefined}>
        {value}
        {over && " – over"}
        {ceiling && <small>ceiling: {ceiling}</small>}
      </dd>
    </div>
  );
}
