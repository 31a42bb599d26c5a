import { useLocation } from "preact-iso";
import { loadingText, nothingStoredText } from "#text/common.ts";
import * as text from "#text/daysPlace.ts";
import type { FeederView, HistoryView, YardView } from "../../server/contract/api.ts";
import { historyDays } from "../charts/historyAxis.ts";
import { HistoryPictures } from "../components/historyPictures.tsx";
import { LinkedText } from "../components/linkedText.tsx";
import { Screen } from "../components/screen.tsx";
import { useHistories } from "../components/useHistories.tsx";
import { useLoad } from "../components/useLoad.ts";
import { WeekHoursPicture } from "../components/weekHoursPicture.tsx";
import { now, serverNow } from "../state/clock.ts";
import type { HistoryQuery } from "../state/histories.ts";
import { connectionState, home, yards } from "../state/home.ts";
import { loadTraining, trainings } from "../state/training.ts";
import { localDate, shiftDate, zonedInstant } from "../text/clock.ts";
import { numberText } from "../text/format.ts";
import "../style/training.css";
import "../style/days.css";

const spans = [14, 42, 182, 365] as const;
type Span = (typeof spans)[number];

/** What a feeder has seen over weeks and seasons, as pictures. The feeder and the span are in the address. */
export function DaysPlace({ id }: { readonly id?: string }) {
  const { query } = useLocation();
  if (home.value === null) return emptyPlace(connectionState.value === "offline" ? nothingStoredText : loadingText);
  const all = yards.value.flatMap((yard) => yard.feeders.map((feeder) => ({ feeder, yard })));
  const real = all.filter(({ yard }) => !yard.practice);
  const choices = real.length > 0 ? real : all;
  const found = all.find(({ feeder }) => feeder.id === id) ?? choices[0];
  if (found === undefined)
    return (
      <Screen title={text.title}>
        <p class="empty">
          <LinkedText text={text.noFeederText} hrefs={["/"]} />
        </p>
      </Screen>
    );
  const span = spans.find((days) => String(days) === query.span) ?? 42;
  const { feeder, yard } = found;
  return (
    <Screen title={text.pageTitle(feeder.name)} practice={yard.practice} wide>
      {choices.length > 1 && (
        <nav class="choice-row" aria-label={text.feedersLabel}>
          {choices.map((choice) => (
            <a
              key={choice.feeder.id}
              href={`/days/${choice.feeder.id}?span=${span}`}
              aria-current={choice.feeder.id === feeder.id ? "page" : undefined}
            >
              {choice.feeder.name}
            </a>
          ))}
        </nav>
      )}
      <DaysOf key={`${feeder.id} ${span}`} feeder={feeder} yard={yard} span={span} />
    </Screen>
  );
}

const emptyPlace = (words: string) => (
  <Screen title={text.title}>
    <p class={words === loadingText ? "empty first-load" : "empty"}>{words}</p>
  </Screen>
);

interface DaysProps {
  readonly feeder: FeederView;
  readonly yard: YardView;
  readonly span: Span;
}

function DaysOf({ feeder, yard, span }: DaysProps) {
  const today = localDate(now.value, yard.zone);
  const { found, notice } = useHistories(queriesOf(feeder.id, yard.zone, today, span), yard.zone, [today]);
  useLoad(() => loadTraining(yard.id), [yard.id]);
  const [days = null, hours = null] = found;
  if (days === null || hours === null) return notice;
  const damaged = days.view.damaged + hours.view.damaged;
  const training = trainings.value.get(yard.id)?.view ?? null;
  return (
    <>
      {notice}
      {damaged > 0 && <p class="notice warning">{text.damagedText(damaged)}</p>}
      <Yesterday days={days.view} feeder={feeder} yard={yard} />
      <nav class="choice-row" aria-label={text.spanLabel}>
        {spans.map((each) => (
          <a key={each} href={`/days/${feeder.id}?span=${each}`} aria-current={each === span ? "page" : undefined}>
            {text.spanNames[each]}
          </a>
        ))}
      </nav>
      <div class="plates">
        <WeekHoursPicture history={hours.view} yard={yard} asOf={Math.min(now.value, hours.asOf)} />
        <HistoryPictures history={days.view} feeder={feeder} yard={yard} training={training} />
      </div>
    </>
  );
}

/** By day over the span, and by hour over two weeks. */
function queriesOf(feeder: string, zone: string, today: string, span: Span): readonly HistoryQuery[] {
  const to = new Date(serverNow()).toISOString();
  const since = (back: number) => zonedInstant(shiftDate(today, 1 - back), "00:00", zone);
  return [
    { name: `days-${span}`, feeder, from: since(span), to, points: span + 1, columns: dayColumns },
    { name: "twoWeeks", feeder, from: since(15), to, points: 15 * 24 + 20, columns: "visits,presses,deposits" },
  ];
}

/** Only what is drawn. */
const dayColumns = [
  ...["visits", "presses", "deposits", "depositsPaid", "depositsUnpaid", "gramsGiven"],
  "insideCelsiusLeast",
  ...["hopperGrams", "hopperGramsLow", "hopperGramsHigh"],
  ...["airCelsiusLeast", "airCelsiusMean", "airCelsiusMost"],
  ...["batteryVoltsLeast", "batteryVoltsMean", "batteryVoltsMost"],
].join(",");

function Yesterday({ days, feeder, yard }: Omit<DaysProps, "span"> & { readonly days: HistoryView }) {
  const date = shiftDate(localDate(now.value, yard.zone), -1);
  const place = historyDays(days, yard.zone).find((day) => day.date === date)?.index ?? -1;
  const unknown = place < 0 ? text.notLoadedText : text.nothingKnownText;
  const value = (column: keyof HistoryView["columns"]) => days.columns[column]?.[place] ?? null;
  const [visits, presses, paid, grams] = [
    value("visits"),
    value("presses"),
    value("depositsPaid"),
    value("gramsGiven"),
  ];
  const parts = [
    ...(visits === null ? [] : [text.visitsText(visits)]),
    ...(presses === null ? [] : [text.pressesText(presses)]),
    ...(paid === null ? [] : [text.depositsText(paid, value("depositsUnpaid") ?? 0)]),
    ...(grams === null ? [] : [text.givenText(`${numberText(grams)} g`)]),
  ];
  return (
    <section class="yesterday" aria-labelledby="yesterday-title">
      <h2 id="yesterday-title">{text.yesterdayTitle}</h2>
      <p>{parts.length === 0 ? unknown : text.yesterdayText(parts.join(", "))}</p>
      <p class="yard-links">
        <a href={`/feeders/${feeder.id}/days?day=${date}`}>{text.ribbonLink}</a>
        {yard.digestWanted && <a href={`/yards/${yard.id}/digest`}>{text.digestLink}</a>}
        <a href={`/feeders/${feeder.id}/days`}>{text.allDaysLink}</a>
        <a href={`/days/${feeder.id}/compare`}>{text.compareLink}</a>
        <a href={`/yards/${yard.id}/alarm-history`}>{text.alarmsLink}</a>
      </p>
    </section>
  );
}
