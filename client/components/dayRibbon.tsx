import { useRef, useState } from "preact/hooks";
import * as text from "#text/dayChart.ts";
import type { FeederView, YardView } from "../../server/contract/api.ts";
import { binnedKinds, type DayBin } from "../charts/dayBins.ts";
import { DayChart, DayChartLegend } from "../charts/dayChart.tsx";
import { layoutDay } from "../charts/dayLayout.ts";
import type { DayScale } from "../charts/dayScale.ts";
import { useWidth } from "../charts/useWidth.ts";
import { now } from "../state/clock.ts";
import type { findDay } from "../state/days.ts";
import { momentText, timeText } from "../text/clock.ts";
import { listText } from "../text/format.ts";
import { PlaceSlider } from "./placeSlider.tsx";

interface RibbonProps {
  readonly stored: NonNullable<ReturnType<typeof findDay>>;
  readonly feeder: FeederView;
  readonly yard: YardView;
}

/** A feeder's day as a ribbon up to now, with what its marks mean and a reader that goes through it. */
export function DayRibbon({ stored: { view, asOf }, feeder, yard: { zone } }: RibbonProps) {
  const frame = useRef<HTMLDivElement>(null);
  const width = useWidth(frame, 340);
  const [chosen, setChosen] = useState<number | null>(null);
  const isRunning = view.date === view.current.date && now.value < Date.parse(view.current.until);
  const layout = layoutDay(view, width, (at) => timeText(at, zone), isRunning ? now.value : undefined);
  const { bins, scale } = layout;
  const knownUntil = Math.min(asOf, feeder.lastReportAt === null ? asOf : Date.parse(feeder.lastReportAt));
  const unreported = scale.to - knownUntil > unreportedLeast;
  const place = Math.max(0, Math.min(bins.length - 1, chosen ?? bins.findLastIndex(hasAny)));
  const hints = [
    ...(layout.kinds.length > 0 ? [text.scaleText(layout.stepMinutes)] : []),
    ...nightTexts(scale, zone),
    ...(unreported ? [text.unreportedText(momentText(new Date(knownUntil).toISOString(), now.value, zone))] : []),
  ];
  return (
    <>
      <div class="chart-frame" ref={frame}>
        <DayChart
          {...{ layout, width, place, text: view.text, choose: setChosen }}
          knownUntil={unreported ? knownUntil : scale.to}
        />
      </div>
      <PlaceSlider
        reader={{ label: text.readerLabel, count: bins.length, textAt: (at) => binText(bins[at], knownUntil, zone) }}
        place={place}
        choose={setChosen}
      />
      {hints.length > 0 && <p class="hint">{hints.join(" ")}</p>}
      <DayChartLegend day={view} isKnown={!unreported} />
    </>
  );
}

/** ms; a feeder reports each few minutes, so that less is no gap worth naming */
const unreportedLeast = 20 * 60_000;

const hasAny = ({ counts }: DayBin) => binnedKinds.some((kind) => counts[kind] > 0);
const clock = (at: number, zone: string) => timeText(new Date(at).toISOString(), zone);

/** What one bar of each row stands for. */
function binText(bin: DayBin | undefined, knownUntil: number, zone: string): string {
  if (bin === undefined) return "";
  const span = text.spanText(clock(bin.from, zone), clock(bin.to, zone));
  if (!hasAny(bin)) return bin.from > knownUntil ? text.unreportedReading(span) : text.nothingReading(span);
  const counts = binnedKinds.flatMap((kind) => {
    const count = bin.counts[kind];
    if (count === 0) return [];
    const isUnpaid = kind === "deposit" && bin.unpaid > 0;
    return [...[text.countTexts[kind](count)], ...(isUnpaid ? [text.unpaidCountText(bin.unpaid)] : [])];
  });
  return text.countsReading(span, counts.join(", "));
}

/** The true hours of what is drawn narrow. */
function nightTexts({ spans, to: end }: DayScale, zone: string): readonly string[] {
  const nights = spans.filter(({ kind }) => kind === "night");
  if (nights.length === 0) return [];
  const names = nights.map(({ from, to }) =>
    to === end ? text.openSpanText(clock(from, zone)) : text.spanText(clock(from, zone), clock(to, zone)),
  );
  return [text.nightText(listText(names))];
}
