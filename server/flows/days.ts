import type { DayMark, DayView } from "../contract/api.ts";
import type { AlarmChange } from "../domain/alarms/alarmStates.ts";
import { isAssumed } from "../domain/assumedSettings.ts";
import { birdsEventFilter } from "../domain/benchRun/advanceBench.ts";
import { currentDay, dayExtent } from "../domain/currentDay.ts";
import { ruleOf } from "../domain/faults.ts";
import { type Instant, isoOf } from "../domain/instant.ts";
import { lightSpans } from "../domain/sun.ts";
import type { FeederRow, RecordedEvent, RecordStore, StoredRefill } from "../ports.ts";
import { numberText } from "../text/format.ts";
import { texts } from "../text/index.ts";

/** One day of a feeder, the current one where `requested` is null: the light, and what happened in it. */
export async function dayView(
  records: RecordStore,
  row: FeederRow,
  requested: string | null,
  now: Instant,
): Promise<DayView> {
  const { place, portionMass } = row.state.settings;
  const running = currentDay(row.state.settings, now);
  const date = requested ?? running.date;
  const { from, to, text } = dayExtent(row.state.settings, date, now);
  const recorded = await records.events(row.id, from, to, eventsADayMax);
  const events = recorded.filter(birdsEventFilter(row.state.bench));
  const refills = await records.refills(row.id, from, to);
  const changes = await records.alarmChanges(row.id, from, to);
  const marks = [...eventMarks(events), ...refills.map(refillMark), ...changes.flatMap(alarmMark)];
  const counts = dayCounts(events, isAssumed(row.state.settings, "portionMass") ? null : portionMass);
  return {
    feeder: row.id,
    date,
    from: isoOf(from),
    to: isoOf(to),
    extentText: text,
    current: { date: running.date, until: isoOf(running.until) },
    light: place
      ? lightSpans(place, from, to).map((span) => ({ kind: span.kind, from: isoOf(span.from), to: isoOf(span.to) }))
      : [{ kind: "unknown", from: isoOf(from), to: isoOf(to) }],
    marks: marks.sort((a, b) => a.at.localeCompare(b.at)),
    counts,
    text: dayText(counts),
  };
}

/** More than birds cause in a day; a ribbon with so many marks is full anyway. */
const eventsADayMax = 5_000;

interface PostedPortion {
  readonly paysFor?: number | null;
  readonly cause?: string;
  readonly chuteCount?: number | null;
  readonly cutShort?: boolean | null;
}
interface PostedDeposit {
  readonly metal?: boolean | null;
  readonly earns?: boolean | null;
}

interface PostedRefill {
  readonly grams?: number | null;
}

function eventMarks(events: readonly RecordedEvent[]): DayMark[] {
  const paid = new Set(
    events.flatMap((event) => {
      const portion = event.kind === "portion" ? (JSON.parse(event.body) as PostedPortion) : null;
      const paysFor = portion?.paysFor;
      return paysFor == null || portion?.cutShort === true ? [] : [`${event.boot} ${paysFor}`];
    }),
  );
  return events.flatMap((event): DayMark[] => {
    if (!isMarkedEvent(event.kind)) return [];
    const isPaid = paid.has(`${event.boot} ${event.seq}`);
    const body: unknown = JSON.parse(event.body);
    const detail = eventDetail[event.kind](body, isPaid);
    const isUnpaid = event.kind === "deposit" && !isPaid && expectsPortion(body as PostedDeposit);
    return [{ kind: event.kind, at: isoOf(event.recordedAt), detail, ...(isUnpaid && { unpaid: true as const }) }];
  });
}

const expectsPortion = ({ metal, earns }: PostedDeposit): boolean => metal !== false && earns !== false;

type MarkedEvent = Exclude<DayMark["kind"], "alarm" | "note">;

/** Orders, lids and unknown kinds are in the log, but are no marks of the birds' day. */
const isMarkedEvent = (kind: string): kind is MarkedEvent => Object.hasOwn(eventDetail, kind);

const eventDetail: Readonly<Record<MarkedEvent, (body: unknown, isPaid: boolean) => string>> = {
  visit: () => "",
  trouble: () => "",
  press: (_, isPaid) => (isPaid ? texts.days.marks.paid : ""),
  deposit(body, isPaid) {
    const { marks } = texts.days;
    if (isPaid) return marks.paid;
    const deposit = body as PostedDeposit;
    if (deposit.metal === false) return marks.noMetal;
    return expectsPortion(deposit) ? marks.unpaid : marks.notEarning;
  },
  portion(body) {
    const { marks } = texts.days;
    const { cause, chuteCount, cutShort } = body as PostedPortion;
    if (cutShort === true) return marks.cutShort;
    if (chuteCount === 0) return marks.nothingFell;
    return cause === "timer" || cause === "keeper" ? marks.free : marks.earned;
  },
  refill: (body) => refillText((body as PostedRefill).grams ?? null, "feeder"),
};

const refillMark = ({ at, grams, source }: StoredRefill): DayMark => ({
  kind: "refill",
  at: isoOf(at),
  detail: refillText(grams, source),
});

function refillText(grams: number | null, source: StoredRefill["source"]): string {
  const { refillMass, refillSource } = texts.days;
  return grams === null ? refillSource[source] : refillMass(texts.units.grams(numberText(grams)), refillSource[source]);
}

const alarmMark = (change: AlarmChange): DayMark[] =>
  change.to === "unacknowledged" && change.from !== change.to
    ? [
        {
          kind: change.priority === "note" ? "note" : "alarm",
          at: isoOf(change.at),
          detail: ruleOf(change.fault).title,
        },
      ]
    : [];

function dayCounts(events: readonly RecordedEvent[], portionMass: number | null): DayView["counts"] {
  const count = (kind: string) => events.filter((event) => event.kind === kind).length;
  const portions = events.filter(({ kind }) => kind === "portion").map(({ body }) => JSON.parse(body) as PostedPortion);
  // How much fell in a portion that was cut short is unknown: half of one is the smallest error.
  const fell = portions.reduce((sum, { chuteCount, cutShort }) => {
    return sum + (cutShort === true ? 0.5 : chuteCount === 0 ? 0 : 1);
  }, 0);
  return {
    visits: count("visit"),
    presses: count("press"),
    deposits: count("deposit"),
    portions: count("portion"),
    gramsGiven: portionMass === null ? null : Math.round(fell * portionMass),
  };
}

function dayText({ visits, presses, deposits, portions, gramsGiven }: DayView["counts"]): string {
  const text = texts.days;
  if (visits + presses + deposits + portions === 0) return text.nothingRecorded;
  const fed = text.portions(portions);
  const last = gramsGiven === null ? fed : text.withMass(fed, texts.units.grams(numberText(gramsGiven)));
  const birds = [
    ...(visits > 0 ? [text.visits(visits)] : []),
    ...(presses > 0 ? [text.presses(presses)] : []),
    ...(deposits > 0 ? [text.deposits(deposits)] : []),
  ];
  return text.summary(birds.length === 0 ? last : texts.lists.and(birds.join(", "), last));
}
