import * as text from "#text/trainingCharts.ts";
import type { YardView } from "../../server/contract/api.ts";
import type { TrainingView } from "../../server/contract/trainingView.ts";
import { type DayAxis, dayAxis, dayInSlot, usualTime } from "../charts/dayAxis.ts";
import { DistanceDrawing, distanceHeight, pointAt } from "../charts/distanceDrawing.tsx";
import { HoursDrawing, hourAt, hoursHeight } from "../charts/hoursDrawing.tsx";
import { KeptDrawing, keptHeight } from "../charts/keptDrawing.tsx";
import { ChangeMark, ShareDrawing, shareHeight } from "../charts/shareDrawing.tsx";
import { now } from "../state/clock.ts";
import { numberText } from "../text/format.ts";
import {
  dayNotes,
  presentStage,
  recordDayText,
  seesVisits,
  shareReading,
  shareText,
  stageName,
} from "../text/training.ts";
import { Picture, PictureLegend } from "./picture.tsx";
import { useNights } from "./useNights.ts";

interface PicturesProps {
  readonly view: TrainingView;
  readonly yard: YardView;
}

/** What a yard's birds did and were given, as pictures. */
export const TrainingPictures = (props: PicturesProps) => (
  <>
    {props.view.days.length > 0 && (
      <>
        <SharePicture {...props} />
        <KeptPicture {...props} />
      </>
    )}
    {props.view.actsByHour !== null && <HoursPicture {...props} acts={props.view.actsByHour} />}
    {props.view.distance !== null && <DistancePicture curve={props.view.distance} />}
  </>
);

const dayNamer = (zone: string) => (date: string) => recordDayText(date, now.value, zone);

function SharePicture({ view, yard }: PicturesProps) {
  const { zone } = yard;
  const dayName = dayNamer(zone);
  const axisAt = (width: number) => dayAxis(view, zone, width);
  const axis = axisAt(320);
  const usual = usualTime(view, zone);
  const textAt = (place: number) => {
    const date = axis.dates[place] ?? "";
    const isUsualTime = usual !== null && date >= usual.from && date <= usual.to;
    return shareReading(view, date, dayInSlot(view, axis, place), { dayName: dayName(date), isUsualTime, zone });
  };
  return (
    <Picture
      title={text.shareTitle}
      sentence={shareSentence(view)}
      height={shareHeight}
      reader={{ label: text.shareDayLabel, count: axis.dates.length, first: axis.dayCount - 1, textAt }}
      placeAt={(x, width) => axisAt(width).slotAt(x)}
      draw={(width, place) => (
        <ShareDrawing view={view} axis={axisAt(width)} zone={zone} place={place} dayName={dayName} />
      )}
      legend={<ShareLegend view={view} />}
      table={shareTable(view, zone)}
    />
  );
}

function shareSentence(view: TrainingView): string {
  const criterion = presentStage(view)?.criterion ?? { share: 0, actsADay: 0 };
  const recent = view.judgement?.recent ?? null;
  if (!seesVisits(view)) {
    const asked = criterion.actsADay;
    return recent === null ? text.actsUnknownSentence(asked) : text.actsSentence(recent.actsADayLeast, asked);
  }
  const asked = shareText(criterion.share);
  return recent === null || recent.share === null
    ? text.shareUnknownSentence(asked)
    : text.shareSentence(shareText(recent.share), recent.days, asked);
}

function ShareLegend({ view }: Pick<PicturesProps, "view">) {
  const marks = [
    { name: text.countsLegend, mark: <circle class="dot" r="4" /> },
    { name: text.hollowLegend, mark: <circle class="dot hollow" r="4" /> },
    { name: text.criterionLegend, mark: <path class="criterion" d="M-9 0H9" /> },
    { name: text.usualLegend, mark: <rect class="usual" x="-9" y="-7" width="18" height="14" /> },
    ...(seesVisits(view) && view.judgement !== null && view.judgement.changePoints.length > 0
      ? [{ name: text.changePointLegend, mark: <path class="change-point" d="M-8 5H0V-5H8" /> }]
      : []),
    ...(view.changes.some(({ undone }) => undone === null)
      ? [{ name: text.changeLegend, mark: <ChangeMark x={0} y={-4} /> }]
      : []),
  ];
  return <PictureLegend label={text.legendLabel} marks={marks} />;
}

function shareTable(view: TrainingView, zone: string) {
  const isShares = seesVisits(view);
  const dayName = dayNamer(zone);
  const rows = [...view.days].reverse().map((day) => {
    const { date, stage, trials, successes, acts, counts } = day;
    const share = trials === null || trials === 0 || successes === null ? "–" : shareText(successes / trials);
    const notes = [...(counts ? [] : [text.notCountedText]), ...dayNotes(view, date, zone)].join("; ");
    const seen = isShares ? [`${trials ?? "–"}`, `${successes ?? "–"}`, share] : [`${acts}`];
    return [dayName(date), stageName(view, stage), ...seen, notes];
  });
  const seenColumns = isShares ? [text.boutsColumn, text.withActColumn, text.shareColumn] : [text.actsColumn];
  return { columns: [text.dayColumn, text.stageColumn, ...seenColumns, text.noteColumn], rows };
}

function KeptPicture({ view, yard }: PicturesProps) {
  const dayName = dayNamer(yard.zone);
  const axisAt = (width: number): DayAxis => dayAxis(view, yard.zone, width);
  const axis = axisAt(320);
  const textAt = (place: number) => {
    const kept = dayInSlot(view, axis, place)?.kept;
    const name = dayName(axis.dates[place] ?? "");
    if (place >= axis.dayCount) return text.laterReading(name);
    return kept === undefined || kept.promised === 0
      ? text.nothingPromisedReading(name)
      : text.keptReading(name, kept.paid, kept.promised - kept.paid);
  };
  return (
    <Picture
      title={text.keptTitle}
      sentence={keptSentence(view)}
      height={keptHeight}
      reader={{ label: text.keptDayLabel, count: axis.dates.length, first: axis.dayCount - 1, textAt }}
      placeAt={(x, width) => axisAt(width).slotAt(x)}
      draw={(width, place) => <KeptDrawing view={view} axis={axisAt(width)} place={place} dayName={dayName} />}
      legend={
        <PictureLegend
          label={text.legendLabel}
          marks={[
            { name: text.paidLegend, mark: <rect class="paid" x="-4" y="-8" width="8" height="16" /> },
            { name: text.unpaidLegend, mark: <rect class="unpaid" x="-4" y="-8" width="8" height="16" /> },
          ]}
        />
      }
      table={{
        columns: [text.dayColumn, text.paidColumn, text.unpaidColumn],
        rows: [...view.days]
          .reverse()
          .map(({ date, kept }) => [dayName(date), `${kept.paid}`, `${kept.promised - kept.paid}`]),
      }}
    />
  );
}

function keptSentence({ days }: TrainingView): string {
  const promised = days.reduce((sum, { kept }) => sum + kept.promised, 0);
  const paid = days.reduce((sum, { kept }) => sum + kept.paid, 0);
  if (promised === 0) return text.nothingPromisedSentence;
  return text.keptSentence(paid, promised, days.filter(({ kept }) => kept.paid < kept.promised).length);
}

function HoursPicture({ acts, yard }: PicturesProps & { readonly acts: readonly number[] }) {
  const nights = useNights(yard);
  const busiest = acts.indexOf(Math.max(...acts));
  const reading = (hour: number) =>
    text.hourReading(text.clockText(hour), text.clockText(hour + 1), numberText(acts[hour] ?? 0, 1));
  return (
    <Picture
      title={text.hoursTitle}
      sentence={hoursSentence(acts, busiest)}
      height={hoursHeight}
      reader={{ label: text.hourLabel, count: 24, first: busiest, textAt: reading }}
      placeAt={hourAt}
      draw={(width, place) => (
        <HoursDrawing {...{ acts, nights, width, place }} mostText={numberText(Math.max(...acts), 1)} />
      )}
      legend={
        nights.length > 0 && (
          <PictureLegend
            label={text.legendLabel}
            marks={[{ name: text.nightLegend, mark: <rect class="night" x="-9" y="-7" width="18" height="14" /> }]}
          />
        )
      }
      table={{
        columns: [text.hourColumn, text.actsADayColumn],
        rows: acts.map((count, hour) => [text.clockText(hour), numberText(count, 1)]),
      }}
    />
  );
}

function hoursSentence(acts: readonly number[], busiest: number): string {
  const first = acts.findIndex((count) => count > 0);
  const last = acts.findLastIndex((count) => count > 0);
  if (first < 0) return text.noActsSentence;
  return text.hoursSentence(
    text.clockText(first),
    text.clockText(last + 1),
    text.clockText(busiest),
    text.clockText(busiest + 1),
  );
}

function DistancePicture({ curve }: { readonly curve: NonNullable<TrainingView["distance"]> }) {
  const { points, halfAtCm } = curve;
  const textAt = (place: number) => {
    const { distanceCm, share, low, high } = points[place] ?? { distanceCm: 0, share: 0, low: 0, high: 0 };
    return text.distanceReading(numberText(distanceCm), shareText(share), shareText(low), shareText(high));
  };
  const farthest = Math.max(...points.map(({ distanceCm }) => distanceCm));
  return (
    <Picture
      title={text.distanceTitle}
      sentence={halfAtCm === null ? text.noHalfSentence : text.halfSentence(numberText(halfAtCm))}
      height={distanceHeight}
      reader={{ label: text.distanceLabel, count: points.length, first: 0, textAt }}
      placeAt={(x, width) => pointAt(curve, x, width)}
      draw={(width, place) => (
        <DistanceDrawing {...{ curve, width, place }} endText={text.centimetresText(numberText(farthest))} />
      )}
      table={{
        columns: [text.distanceColumn, text.shareColumn, text.lowColumn, text.highColumn],
        rows: points.map(({ distanceCm, share, low, high }) => [
          text.centimetresText(numberText(distanceCm)),
          ...[share, low, high].map(shareText),
        ]),
      }}
    />
  );
}
