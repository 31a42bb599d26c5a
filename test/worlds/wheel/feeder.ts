import type { LoggedAct, LoggedSettings } from "../../../server/contract/feederLog.ts";
import type { PostedReport } from "../../../server/contract/readReport.ts";
import type { KeeperPhone, Story } from "../world.ts";
import { Agenda } from "./agenda.ts";
import { Birds } from "./birds.ts";
import { Bouts } from "./bouts.ts";
import { Chute } from "./chute.ts";
import { Dispenser } from "./dispenser.ts";
import { PlantedFault } from "./fault.ts";
import { drawMix } from "./food.ts";
import { Hopper } from "./hopper.ts";
import { Keeper } from "./keeper.ts";
import { Ledger } from "./ledger.ts";
import { Line } from "./line.ts";
import { CurrentSensor, Motor } from "./motor.ts";
import { OtherPresses } from "./otherPresses.ts";
import { type FeederParts, Program } from "./program.ts";
import { type Random, randomFor } from "./random.ts";
import { Reporter } from "./reporter.ts";
import { RoofLoad } from "./roofLoad.ts";
import { Scale } from "./scale.ts";
import { enteredSettings } from "./settings.ts";
import { Spool } from "./spool.ts";
import type { Place } from "./sun.ts";
import { Supply } from "./supply.ts";
import { Thermometers } from "./thermometers.ts";
import { day, hour } from "./time.ts";
import { Weather } from "./weather.ts";
import { Wheel } from "./wheel.ts";

/** One feeder of this world with all around it, as the story's seed draws it, ready to run. */
export interface WheelFeeder {
  readonly agenda: Agenda;
  readonly ledger: Ledger;
  readonly hopper: Hopper;
  readonly wheel: Wheel;
  readonly weather: Weather;
  readonly fault: PlantedFault;
  readonly settings: LoggedSettings;
}

/** Where its lines go, each at the moment of the agenda. */
export interface Listener {
  readonly report: (report: PostedReport) => void;
  readonly act: (act: LoggedAct) => void;
}

export function buildFeeder(story: Story, phone: KeeperPhone, listener: Listener): WheelFeeder {
  const drawn = (purpose: string): Random => randomFor(story.seed, purpose);
  const place = drawPlace(drawn("place"));
  const begin = drawBegin(drawn("begin"));
  const agenda = new Agenda(begin);
  const fault = new PlantedFault();
  const weather = new Weather(drawn("weather"), begin, place);
  const sizes = drawn("sizes");
  // Common practice, no source: from a jar to a bucket.
  const hopper = new Hopper(drawn("hopper"), drawMix(sizes), sizes.logBetween(400, 6_000));
  const wheel = new Wheel(drawn("wheel"), hopper, fault);
  const supply = new Supply(drawn("supply"), begin);
  const portionGrams = wheel.usualPortionGrams;
  const settings = enteredSettings(drawn("settings"), { story, place, hopper, supply: supply.kind, portionGrams });
  const ledger = new Ledger(hopper, fault, place, portionGrams);
  const parts: FeederParts = {
    ...{ agenda, place, weather, supply, ledger, fault, sensors: story.sensors },
    dispenser: new Dispenser(wheel, new Motor(drawn("motor"), wheel.pocketsPerPortion), fault),
    chute: new Chute(drawn("chute"), fault),
    currentSensor: new CurrentSensor(drawn("current sensor")),
    spool: new Spool(drawn("spool"), begin),
  };
  const feeder = { agenda, ledger, hopper, wheel, weather, fault, settings };
  startAround(feeder, parts, { story, phone, listener, drawn });
  planFault(story, feeder, drawn("fault"));
  return feeder;
}

interface Around {
  readonly story: Story;
  readonly phone: KeeperPhone;
  readonly listener: Listener;
  readonly drawn: (purpose: string) => Random;
}

/** The program, its reports, the birds, the keeper, and what happens each hour. */
function startAround(feeder: WheelFeeder, parts: FeederParts, { story, phone, listener, drawn }: Around): void {
  const { agenda, hopper, fault, ledger, wheel } = feeder;
  const { place, weather, sensors, supply } = parts;
  const touching = { birds: 0, hands: 0 };
  const program = new Program(drawn("program"), parts);
  const roof = new RoofLoad(drawn("roof"));
  const reporter = new Reporter(drawn("reporter"), story, {
    ...parts,
    ...{ program, hopper, roof, touching, receive: listener.report },
    scale: new Scale(drawn("scale"), fault, hopper.capacity, wheel.usualPortionGrams),
    thermometers: new Thermometers(drawn("thermometers"), fault),
    line: new Line(drawn("line"), agenda.now),
  });
  const { longitudeDegrees } = place;
  const keeper = new Keeper(drawn("keeper"), {
    ...{ agenda, phone, story, fault, hopper, ledger, program, supply, longitudeDegrees, touching },
    enter: listener.act,
  });
  keeper.fillFirst();
  program.onStart = () => reporter.begin();
  reporter.begin();
  const birds = new Birds(drawn("birds"), place, agenda.now);
  new Bouts(drawn("bouts"), { agenda, birds, program, ledger, fault, weather, place, sensors, touching });
  const others = new OtherPresses(drawn("other presses"), { agenda, program, fault, weather });
  const watchdog = drawn("watchdog");
  const crashesPerHour = watchdog.logBetween(0.05, 2) / (30 * 24); // common practice, no source
  const everyHour = () => {
    roof.stepHour(weather.at(agenda.now));
    others.stepHour();
    if (watchdog.chance(crashesPerHour)) program.restart(watchdog.between(3_000, 60_000));
    agenda.in(hour, everyHour);
  };
  everyHour();
}

function planFault({ fault: planned }: Story, { agenda, fault, hopper, wheel }: WheelFeeder, random: Random): void {
  if (planned === null) return;
  agenda.in(planned.at, () => {
    fault.begin(planned.kind, agenda.now);
    if (planned.kind === "foodBridged") hopper.bridge(wheel.usualPortionGrams * random.between(0, 5));
  });
}

/** Inland at 68 degrees north. */
const drawPlace = (random: Random): Place => ({
  latitudeDegrees: 68,
  longitudeDegrees: Math.round(100 * random.between(20, 24)) / 100,
});

/** Any day of four years, in the forenoon. */
function drawBegin(random: Random): number {
  const firstDay = Date.UTC(2022, 0, 1);
  return firstDay + random.whole(0, 4 * 365) * day + Math.round(random.between(7, 11) * hour);
}
