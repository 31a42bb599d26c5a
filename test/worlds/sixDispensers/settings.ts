import type { LogLine } from "../../../server/replay/logLine.ts";
import { meanPiece } from "./hopper.ts";
import type { Parts } from "./parts.ts";
import { round } from "./power.ts";
import type { Stream } from "./stream.ts";

export type Settings = Extract<LogLine, { kind: "settings" }>["settings"];

/** What the keeper enters when the feeder is set up: the sensors as they are, the rest as well as this keeper knows it. */
export function firstSettings(parts: Parts, stream: Stream): Settings {
  const { story, place, hopper, power } = parts;
  const { button, detector, chute, perch, scale } = story.sensors;
  const [main] = hopper.mix.grains;
  const isOneFood = hopper.mix.grains.length === 1 && main !== undefined && main.food !== "other";
  return {
    name: "Larch",
    zone: place.zone,
    place: { latitudeDegrees: round(place.latitude, 2), longitudeDegrees: round(place.longitude, 2) },
    sensors: { button, detector, chute, perch, scale },
    battery: power.battery,
    reportEverySeconds: story.reportEverySeconds,
    warnAheadDays: stream.pick([1, 2, 2, 3, 5]),
    hopperCapacityGrams: Math.max(50, Math.round((hopper.capacity * stream.factor(0.06)) / 50) * 50),
    ...(isOneFood ? { foodKind: main.food } : { foodKind: "other", food: "mixed grains" }),
    ...statedPortion(parts, stream),
  };
}

/** Weighed well, weighed once and wrong, counted in pieces, or left out. */
function statedPortion({ mechanism, hopper }: Parts, stream: Stream): Settings {
  const draw = stream.unit();
  const pieces = Math.round((mechanism.portion * stream.factor(0.2)) / meanPiece(hopper.mix));
  if (draw < 0.06) return {};
  if (draw < 0.14) return { grainsPerPortion: Math.max(1, Math.min(1_000, pieces)) };
  const isWrong = draw < 0.34;
  return weighed(mechanism.portion * (isWrong ? stream.uniform(0.55, 1.7) : stream.factor(0.07)));
}

/** Weighed again later, and better. */
export const weighedAgain = ({ mechanism }: Parts, stream: Stream): Settings =>
  weighed(mechanism.portion * stream.factor(0.05));

const weighed = (grams: number): Settings => ({ portionGrams: Math.max(0.1, Math.min(100, round(grams, 1))) });
