import * as text from "#text/daysPlace.ts";
import { numberText } from "../text/format.ts";
import {
  type BandOf,
  BandPicture,
  bandMark,
  daysOf,
  type HistoryProps,
  largest,
  lineMark,
  meanMark,
  smallest,
  zoneMark,
} from "./bandPicture.tsx";

/** What cold does: the air with the limits of the tray, the battery with those of its kind. */

const degrees = (celsius: number, digits = 0) => text.degreesText(numberText(celsius, digits));
const volts = (amount: number) => text.voltsText(numberText(amount, 2));
type Mark = BandOf["marks"][number];

export function TemperaturePicture(props: HistoryProps) {
  const { value } = daysOf(props);
  const values = { low: value("airCelsiusLeast"), middle: value("airCelsiusMean"), high: value("airCelsiusMost") };
  const [least, most] = [Math.floor(smallest(values.low)), Math.ceil(largest(values.high))];
  const tray = trayLimits(props, least);
  const battery = batteryFreezing(props, least);
  const of: BandOf = {
    ...{ title: text.temperatureTitle, values, lines: [0, ...battery.lines], zones: tray.zones },
    sentence: [text.temperatureSentence(degrees(least), degrees(most)), ...tray.sentences, ...battery.sentences].join(
      " ",
    ),
    range: [least, most],
    rangeTexts: [`${numberText(least)}°`, `${numberText(most)}°`],
    readingOf: (name, place) => {
      const at = (each: readonly (number | null)[]) => degrees(each[place] ?? 0);
      return text.temperatureReading(name, at(values.low), at(values.middle), at(values.high));
    },
    marks: [
      { name: text.rangeName, mark: bandMark },
      { name: text.meanLineName, mark: meanMark },
      ...(least < 0 && most > 0 ? [{ name: text.freezingName, mark: lineMark }] : []),
      ...tray.marks,
      ...battery.marks,
    ],
    columns: [text.leastColumn, text.meanOfDayColumn, text.mostColumn],
    digits: 1,
  };
  return <BandPicture {...props} of={of} />;
}

/** Where water on the tray freezes and thaws; nothing where it never came near it. */
function trayLimits({ history: { limits } }: HistoryProps, least: number) {
  if (limits === undefined || least >= limits.trayThawsAboveCelsius) return { sentences: [], zones: [], marks: [] };
  const { trayFreezesBelowCelsius: freezes, trayThawsAboveCelsius: thaws } = limits;
  return {
    sentences: [text.traySentence(degrees(freezes, 1), degrees(thaws, 1))],
    zones: [
      { from: least, to: freezes, kind: "frozen" },
      { from: freezes, to: thaws, kind: "doubtful" },
    ] as const,
    marks: [
      { name: text.frozenName, mark: zoneMark("frozen") },
      { name: text.doubtfulName, mark: zoneMark("doubtful") },
    ],
  };
}

/** Where a lead-acid battery would freeze with its present charge; as a line where it came near it. */
function batteryFreezing({ history: { limits } }: HistoryProps, least: number) {
  const celsius = limits?.battery?.freezesBelowCelsius ?? null;
  if (celsius === null) return { sentences: [], lines: [], marks: [] };
  const isNear = celsius > least;
  return {
    sentences: [text.batteryFreezesSentence(degrees(celsius))],
    lines: isNear ? [celsius] : [],
    marks: isNear ? [{ name: text.batteryFreezesName(degrees(celsius)), mark: lineMark }] : [],
  };
}

export function BatteryPicture(props: HistoryProps) {
  const { value } = daysOf(props);
  const values = {
    low: value("batteryVoltsLeast"),
    middle: value("batteryVoltsMean"),
    high: value("batteryVoltsMost"),
  };
  const [least, most] = [Math.floor(2 * smallest(values.low)) / 2, Math.ceil(2 * largest(values.high)) / 2];
  const allowed = chargeAllowed(props, least);
  const isCold = (place: number) => allowed.coldDays.includes(place);
  const of: BandOf = {
    ...{ title: text.batteryTitle, values, zones: allowed.zones, coldDays: allowed.coldDays },
    sentence: `${text.batterySentence(volts(smallest(values.low)))} ${allowed.sentence}`,
    range: [least, most],
    rangeTexts: [numberText(least, 1), numberText(most, 1)],
    readingOf: (name, place) => {
      const reading = text.batteryReading(name, volts(values.low[place] ?? 0), volts(values.high[place] ?? 0));
      return isCold(place) ? `${reading}; ${text.tooColdText}` : reading;
    },
    marks: [{ name: text.rangeName, mark: bandMark }, { name: text.meanLineName, mark: meanMark }, ...allowed.marks],
    columns: [
      ...[text.leastColumn, text.meanOfDayColumn, text.mostColumn],
      ...(allowed.coldDays.length > 0 ? [text.chargingColumn] : []),
    ],
    digits: 2,
    moreCells: (place) => (allowed.coldDays.length === 0 ? [] : [isCold(place) ? text.tooColdText : ""]),
  };
  return <BandPicture {...props} of={of} />;
}

interface ChargeAllowed {
  readonly sentence: string;
  readonly zones: NonNullable<BandOf["zones"]>;
  readonly coldDays: readonly number[];
  readonly marks: readonly Mark[];
}

/** What the kind of battery allows, as far as it is entered and measured. */
function chargeAllowed(props: HistoryProps, least: number): ChargeAllowed {
  const nothing = { zones: [], coldDays: [], marks: [] };
  const battery = props.history.limits?.battery ?? null;
  if (battery === null) return { ...nothing, sentence: text.noBatteryKindSentence };
  const { chargesAboveByBoxCelsius: boxLimit, chargesAboveCelsius: limit, dischargesAboveCelsius: end } = battery;
  if (limit !== null && boxLimit !== null && end !== null) {
    const inside = props.history.columns.insideCelsiusLeast;
    const rule = text.lithiumSentence(degrees(limit), degrees(end));
    if (inside === undefined) return { ...nothing, sentence: `${rule} ${text.noBoxTemperatureSentence}` };
    const coldDays = inside.flatMap((celsius, place) => (celsius !== null && celsius < boxLimit ? [place] : []));
    const mark = {
      name: text.tooColdName(degrees(boxLimit)),
      mark: <rect class="cold-day" x="-8" y="-4" width="16" height="9" />,
    };
    return { ...nothing, sentence: rule, coldDays, marks: coldDays.length > 0 ? [mark] : [] };
  }
  if (battery.restVolts === null) return { ...nothing, sentence: text.leadAcidUnknownSentence };
  const { empty, half } = battery.restVolts;
  return {
    ...nothing,
    sentence: text.leadAcidSentence,
    zones: [
      { from: empty, to: half, kind: "doubtful" },
      { from: Math.min(least, empty), to: empty, kind: "low" },
    ],
    marks: [
      { name: text.belowHalfName(volts(half)), mark: zoneMark("doubtful") },
      { name: text.emptyName(volts(empty)), mark: zoneMark("low") },
    ],
  };
}
