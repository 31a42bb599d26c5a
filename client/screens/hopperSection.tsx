import {
  assumedValue,
  capacityName,
  contentText,
  contentWithoutCapacityText,
  emptyFirstName,
  emptyLastName,
  emptyMedianName,
  hopperDetailsTitle,
  hopperTitle,
  intervalName,
  intervalValue,
  levelName,
  levelValue,
  refillLabel,
  tooFarAheadText,
  unnamedFood,
  waitForRefillText,
  waitForScaleText,
} from "#text/feederScreen.ts";
import type { FeederView, YardView } from "../../server/contract/api.ts";
import { HopperChart } from "../charts/hopperChart.tsx";
import { QueuedActionNote } from "../components/queuedActionNote.tsx";
import { queuedActions } from "../state/actions.ts";
import { now } from "../state/clock.ts";
import { capitalize, fullnessText, levelText, massText, splitHeadline } from "../text/amount.ts";
import { approximateMomentText } from "../text/clock.ts";

/** How full the hopper is and how long the food lasts. */
export function HopperSection({ feeder, yard }: { readonly feeder: FeederView; readonly yard: YardView }) {
  const { hopper } = feeder;
  const { headline, detail } = splitHeadline(hopper.text);
  const refills = queuedActions.value.filter((action) => action.kind === "refill" && action.feeder === feeder.id);
  return (
    <section class="hopper-section" aria-labelledby="hopper-title">
      <h2 id="hopper-title" class="hidden">
        {hopperTitle}
      </h2>
      <p class="headline">{headline}</p>
      <HopperChart hopper={hopper} />
      <div class="hopper-text">
        {detail !== null && hopper.level !== null && <p class="small">{detail}</p>}
        <p>{hopperText(feeder)}</p>
        <a class="button main" href={`/feeders/${feeder.id}/refill`}>
          {refillLabel}
        </a>
      </div>
      {refills.map((refill) => (
        <QueuedActionNote key={refill.id} action={refill} zone={yard.zone} />
      ))}
      {hopper.portionText !== "" && <p class="portion hint">{hopper.portionText}</p>}
      <HopperDetails hopper={hopper} zone={yard.zone} />
    </section>
  );
}

/** How full it is can be shown only with a capacity that somebody has entered. */
function hopperText({ hopper, settings }: FeederView): string {
  const { level, capacityAssumed, capacityGrams } = hopper;
  const food = settings.food ?? unnamedFood;
  if (level === null) return settings.sensors.scale ? waitForScaleText : waitForRefillText;
  if (capacityAssumed) return contentWithoutCapacityText(levelText(level).about, food);
  return contentText(capitalize(fullnessText(level.grams / capacityGrams)), food);
}

function HopperDetails({ hopper, zone }: { readonly hopper: FeederView["hopper"]; readonly zone: string }) {
  const level = hopper.level === null ? null : levelText(hopper.level);
  const capacity = massText(hopper.capacityGrams);
  return (
    <details>
      <summary>{hopperDetailsTitle}</summary>
      <dl class="numbers">
        {level !== null && (
          <>
            <Row name={levelName} value={levelValue(level.about)} />
            <Row name={intervalName} value={intervalValue(level.low, level.high)} />
          </>
        )}
        <Row name={capacityName} value={hopper.capacityAssumed ? assumedValue(capacity) : capacity} />
        {hopper.emptyForecast !== null && (
          <>
            <Row name={emptyFirstName} value={emptyAtText(hopper.emptyForecast.p10, zone)} />
            <Row name={emptyMedianName} value={emptyAtText(hopper.emptyForecast.p50, zone)} />
            <Row name={emptyLastName} value={emptyAtText(hopper.emptyForecast.p90, zone)} />
          </>
        )}
      </dl>
    </details>
  );
}

const emptyAtText = (at: string | null, zone: string) =>
  at === null ? tooFarAheadText : approximateMomentText(at, now.value, zone);

const Row = (props: { readonly name: string; readonly value: string }) => (
  <div>
    <dt>{props.name}</dt>
    <dd>{props.value}</dd>
  </div>
);
