import { useLocation } from "preact-iso";
import * as text from "#text/compareScreen.ts";
import { title as daysTitle } from "#text/daysPlace.ts";
import { feederNotFoundText } from "#text/screens.ts";
import type { FeederView, YardView } from "../../server/contract/api.ts";
import {
  type ComparedSpan,
  comparedFigures,
  comparedQueries,
  datesText,
  daysIn,
  daysOnly,
  hourDaysMax,
  knownDays,
  meansOf,
  stageSpans,
  weekSpans,
} from "../charts/comparedSpans.ts";
import { ComparedDays, ComparedHours, type ComparedSide } from "../components/comparedPictures.tsx";
import { SelectField } from "../components/field.tsx";
import { Screen } from "../components/screen.tsx";
import { useHistories } from "../components/useHistories.tsx";
import { useLoad } from "../components/useLoad.ts";
import { now } from "../state/clock.ts";
import { findFeeder } from "../state/home.ts";
import { loadTraining, trainings } from "../state/training.ts";
import { localDate } from "../text/clock.ts";
import { numberText } from "../text/format.ts";
import { notFoundScreen } from "./notFound.tsx";
import "../style/training.css";
import "../style/days.css";

type Kind = "weeks" | "stages";

/** Two weeks or two stages beside each other. Which ones is in the address, so that back and forward work, and a link can be sent. */
export function CompareScreen({ id }: { readonly id: string }) {
  const { query, route } = useLocation();
  const found = findFeeder(id);
  const yardId = found?.yard.id ?? "";
  useLoad(async () => (yardId === "" ? { kind: "ok", value: null } : await loadTraining(yardId)), [yardId]);
  if (found === null) return notFoundScreen(text.notFoundTitle, feederNotFoundText);
  const { feeder, yard } = found;
  const today = localDate(now.value, yard.zone);
  const kind: Kind = query.of === "stages" ? "stages" : "weeks";
  const stages = stageSpans(trainings.value.get(yard.id)?.view ?? null, today, yard.zone);
  const spans = kind === "stages" ? stages : weekSpans(today);
  const chosen = chosenSpans(spans, kind, query.one, query.other);
  const href = (of: Kind, one?: string, other?: string) =>
    `/days/${feeder.id}/compare?of=${of}${one === undefined ? "" : `&one=${one}&other=${other}`}`;
  return (
    <Screen
      title={text.title(feeder.name)}
      practice={feeder.practice}
      back={{ href: `/days/${feeder.id}`, name: daysTitle }}
      wide
    >
      <nav class="choice-row" aria-label={text.kindsLabel}>
        {(["weeks", "stages"] as const).map((each) => (
          <a key={each} href={href(each)} aria-current={each === kind ? "page" : undefined}>
            {each === "weeks" ? text.weeksLabel : text.stagesLabel}
          </a>
        ))}
      </nav>
      {chosen === null ? (
        <p class="empty">{text.noStagesText}</p>
      ) : (
        <>
          <SpanChoice spans={spans} chosen={chosen} choose={(one, other) => route(href(kind, one, other))} />
          <Comparison key={`${chosen[0].id} ${chosen[1].id}`} feeder={feeder} yard={yard} spans={chosen} />
        </>
      )}
    </Screen>
  );
}

type Pair = readonly [ComparedSpan, ComparedSpan];

/** Those in the address; else the last two whole weeks, or the last two stages. Null: there are not two. */
function chosenSpans(spans: readonly ComparedSpan[], kind: Kind, one?: string, other?: string): Pair | null {
  const usual = kind === "weeks" ? 1 : 0; // the running week is not over
  const first = spans.find(({ id }) => id === one) ?? spans[usual];
  const second = spans.find(({ id }) => id === other) ?? spans[usual + 1];
  return first === undefined || second === undefined ? null : [first, second];
}

const nameOf = (span: ComparedSpan) =>
  span.stage === null ? datesText(span) : text.periodText(span.stage, datesText(span));

function SpanChoice(props: {
  readonly spans: readonly ComparedSpan[];
  readonly chosen: Pair;
  readonly choose: (one: string, other: string) => void;
}) {
  const { spans, chosen, choose } = props;
  const [one, other] = chosen;
  const choices = spans.map((span) => ({ value: span.id, label: nameOf(span) }));
  const select = (label: string, value: string, change: (id: string) => void) => (
    <SelectField {...{ label, choices }} select={{ value, onChange: (event) => change(event.currentTarget.value) }} />
  );
  return (
    <div class="side-by-side compared">
      {select(text.firstLabel, one.id, (id) => choose(id, other.id))}
      {select(text.secondLabel, other.id, (id) => choose(one.id, id))}
    </div>
  );
}

interface ComparisonProps {
  readonly feeder: FeederView;
  readonly yard: YardView;
  readonly spans: Pair;
}

function Comparison({ feeder, yard, spans }: ComparisonProps) {
  const queries = spans.flatMap((span) => comparedQueries(feeder.id, span, yard.zone));
  const { found, notice } = useHistories(queries, yard.zone, [feeder.id]);
  const sides = spans.flatMap((span, index): ComparedSide[] => {
    const [byDay, byHour] = [found[2 * index]?.view, found[2 * index + 1]?.view];
    return byDay === undefined || byHour === undefined
      ? []
      : [{ span, name: nameOf(span), byDay: daysOnly(byDay, span), byHour }];
  });
  const [one, other] = sides;
  if (one === undefined || other === undefined) return notice;
  const pair = [one, other] as const;
  return (
    <>
      {notice}
      <p>{text.sentence(one.name, other.name)}</p>
      <FiguresTable sides={pair} />
      <div class="plates">
        <ComparedHours sides={pair} yard={yard} />
        <ComparedDays sides={pair} yard={yard} />
      </div>
      {spans.some((span) => daysIn(span) > hourDaysMax) && <p class="hint">{text.cutText(hourDaysMax)}</p>}
    </>
  );
}

const valueText = (value: number | null) => (value === null ? text.notKnown : numberText(value, 1));
const difference = (a: number | null, b: number | null) =>
  a === null || b === null ? text.notKnown : `${a - b >= 0.05 ? "+" : ""}${numberText(a - b, 1)}`;

/** The differences, too. What isn't known of one side has none. */
function FiguresTable({ sides: [one, other] }: { readonly sides: readonly [ComparedSide, ComparedSide] }) {
  const [ofOne, ofOther] = [meansOf(one.byDay), meansOf(other.byDay)];
  const known = (side: ComparedSide) => text.knownOfText(knownDays(side.byDay), daysIn(side.span));
  return (
    <section aria-labelledby="figures-title">
      <h2 id="figures-title">{text.tableTitle}</h2>
      <p class="hint">{text.meansText(knownDays(one.byDay), knownDays(other.byDay))}</p>
      {/* biome-ignore lint/a11y/noNoninteractiveTabindex: a region that scrolls must be reachable by keyboard (WCAG 2.1.1) */}
      <section class="scroll compared-figures" tabIndex={0} aria-label={text.tableTitle}>
        <table>
          <thead>
            <tr>
              <th scope="col">{text.figureColumn}</th>
              <th scope="col">{one.name}</th>
              <th scope="col">{other.name}</th>
              <th scope="col">{text.differenceColumn}</th>
            </tr>
          </thead>
          <tbody>
            {comparedFigures.map((figure) => (
              <tr key={figure}>
                <th scope="row">{text.rowNames[figure]}</th>
                <td>{valueText(ofOne[figure])}</td>
                <td>{valueText(ofOther[figure])}</td>
                <td>{difference(ofOne[figure], ofOther[figure])}</td>
              </tr>
            ))}
            <tr>
              <th scope="row">{text.knownDaysRow}</th>
              <td>{known(one)}</td>
              <td>{known(other)}</td>
              <td />
            </tr>
          </tbody>
        </table>
      </section>
    </section>
  );
}
