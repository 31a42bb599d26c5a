import {
  acknowledgedName,
  adviceTitle,
  alarmsName,
  asOfText,
  chartText,
  countAndShare,
  countOf,
  frequentTitle,
  noAdviceText,
  notOnPhoneText,
  numbersTitle,
  title,
  urgentAlarmsName,
} from "#text/alarmRatesScreen.ts";
import { loadingText } from "#text/common.ts";
import { yardNotFoundText } from "#text/screens.ts";
import type { RatesView, YardView } from "../../server/contract/api.ts";
import { AlarmMonthChart } from "../charts/alarmMonthChart.tsx";
import { Screen } from "../components/screen.tsx";
import { useLoad } from "../components/useLoad.ts";
import { alarmRates, alarmRatesError, loadAlarmRates } from "../state/alarmRates.ts";
import { now } from "../state/clock.ts";
import { connectionState, yards } from "../state/home.ts";
import { capitalize } from "../text/amount.ts";
import { dayText, localDate, momentText } from "../text/clock.ts";
import { notFoundScreen } from "./notFound.tsx";

/** How many alarms a yard had, and what to change about them: advice first, then a month as a chart, then the numbers. */
export function AlarmRatesScreen(props: { readonly id: string }) {
  useLoad(() => loadAlarmRates(props.id), [props.id]);
  const yard = yards.value.find((each) => each.id === props.id);
  if (yard === undefined) return notFoundScreen(title, yardNotFoundText);
  const known = alarmRates.value.get(props.id);
  const isOffline = connectionState.value === "offline";
  return (
    <Screen title={title} practice={yard.practice} back={{ href: `/yards/${yard.id}`, name: yard.name }}>
      {known === undefined ? (
        <p class="empty">{alarmRatesError.value ?? (isOffline ? notOnPhoneText : loadingText)}</p>
      ) : (
        <>
          <AlarmRates view={known.view} yard={yard} />
          {isOffline && (
            <p class="hint">{asOfText(momentText(new Date(known.asOf).toISOString(), now.value, yard.zone))}</p>
          )}
        </>
      )}
    </Screen>
  );
}

interface RatesProps {
  readonly view: RatesView;
  readonly yard: YardView;
}

function AlarmRates({ view, yard }: RatesProps) {
  const [first, ...others] = view.texts;
  return (
    <>
      <p class="history-summary">{first}</p>
      {others.map((text) => (
        <p key={text} class="hint">
          {text}
        </p>
      ))}
      <section aria-labelledby="change-title">
        <h2 id="change-title">{adviceTitle}</h2>
        {view.findings.length === 0 ? (
          <p>{noAdviceText}</p>
        ) : (
          <ul>
            {view.findings.map((text) => (
              <li key={text}>{text}</li>
            ))}
          </ul>
        )}
      </section>
      {view.days.length > 0 && <Month view={view} yard={yard} />}
      <AlarmNumbers view={view} />
    </>
  );
}

function Month({ view: { days }, yard }: RatesProps) {
  const today = localDate(now.value, yard.zone);
  return (
    <figure class="month-chart">
      <AlarmMonthChart days={days} />
      <figcaption>
        <span>{days.length > 1 && capitalize(dayText(days[0]?.date ?? today, today))}</span>
        <span>{capitalize(dayText(days.at(-1)?.date ?? today, today))}</span>
      </figcaption>
      <p class="hint">{chartText}</p>
    </figure>
  );
}

function AlarmNumbers({ view }: Pick<RatesProps, "view">) {
  const urgent = view.days.reduce((sum, day) => sum + day.urgent, 0);
  const others = view.days.reduce((sum, day) => sum + day.soon, 0);
  return (
    <section aria-labelledby="numbers-title">
      <h2 id="numbers-title">{numbersTitle}</h2>
      <dl class="numbers">
        <Row name={alarmsName} value={`${urgent + others}`} />
        <Row name={urgentAlarmsName} value={`${urgent}`} />
        <Row name={acknowledgedName} value={countOf(view.acknowledgedCount, urgent + others)} />
      </dl>
      {view.frequentAlarms.length > 0 && <FrequentAlarms alarms={view.frequentAlarms} />}
    </section>
  );
}

const FrequentAlarms = ({ alarms }: { readonly alarms: RatesView["frequentAlarms"] }) => (
  <details>
    <summary>{frequentTitle}</summary>
    <dl class="numbers">
      {alarms.map(({ name, alarmCount, sharePercent }) => (
        <Row key={name} name={capitalize(name)} value={countAndShare(alarmCount, sharePercent)} />
      ))}
    </dl>
  </details>
);

const Row = (props: { readonly name: string; readonly value: string }) => (
  <div>
    <dt>{props.name}</dt>
    <dd>{props.value}</dd>
  </div>
);
