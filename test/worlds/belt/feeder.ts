import type { LoggedAct, LoggedSettings } from "../../../server/contract/feederLog.ts";
import type { PostedReport } from "../../../server/contract/readReport.ts";
import type { KeeperPhone, Story } from "../world.ts";
import { Account } from "./account.ts";
import { Agenda, day, hour } from "./agenda.ts";
import { Belt } from "./belt.ts";
import { Board } from "./board.ts";
import { Cell } from "./cell.ts";
import { Chance } from "./chance.ts";
import { Counter } from "./counter.ts";
import { Drive } from "./drive.ts";
import { enteredSettings } from "./entered.ts";
import { drawHabits, Flock, type Habits } from "./flock.ts";
import { drawFood } from "./food.ts";
import { Keeper } from "./keeper.ts";
import type { Parts } from "./parts.ts";
import { drawPlace } from "./place.ts";
import { Planted } from "./planted.ts";
import { Program } from "./program.ts";
import { Reporter } from "./reporter.ts";
import { drawRules } from "./rules.ts";
import { Silo } from "./silo.ts";
import { Supply } from "./supply.ts";
import { Thermometers } from "./thermometers.ts";
import { Weather } from "./weather.ts";

/** Where its lines go. */
export interface Listener {
  readonly arrived: (report: PostedReport) => void;
  readonly entered: (act: LoggedAct) => void;
}

export interface Feeder {
  readonly parts: Parts;
  readonly settings: LoggedSettings;
  readonly flock: Flock;
}

/** One feeder as its seed draws it, with all that goes on around it planned in its agenda. */
export function buildFeeder(story: Story, phone: KeeperPhone, listener: Listener): Feeder {
  const habits = drawHabits(new Chance(story.seed, "habits"));
  const parts = drawParts(story, habits);
  const { agenda, place, weather } = parts;
  planFault(parts);
  const program = new Program(parts, drawRules(parts.chance("rules"), story.sensors, habits.triesPerDay));
  const keeper = new Keeper(parts, program, phone, listener.entered);
  keeper.fillFirst();
  const { button: canPress, detector: canDrop } = story.sensors;
  const flock = new Flock(parts.chance("flock"), habits, {
    agenda,
    place,
    weather,
    touched: program,
    canPress,
    canDrop,
  });
  const reporter = new Reporter(parts, program, flock, listener.arrived);
  program.onStart = () => reporter.begin();
  reporter.begin();
  program.begin();
  keeper.begin();
  planHours(parts, flock);
  if (story.fault?.kind === "buttonChatters") {
    const { at } = story.fault;
    agenda.at(parts.begin + at, () => program.chatter());
  }
  return { parts, settings: enteredSettings(parts), flock };
}

function drawParts(story: Story, habits: Habits): Parts {
  const chance = (name: string) => new Chance(story.seed, name);
  const place = drawPlace(chance("place"));
  const begin = drawBegin(chance("begin"));
  const planted = new Planted(chance("planted"));
  const weather = new Weather(story.seed, place, begin);
  const sizes = chance("sizes");
  const food = drawFood(sizes);
  const { silo, belt } = drawStore(chance, food, habits, planted);
  const cell = new Cell(story.seed, planted, belt.portionGrams, begin);
  return {
    ...{ story, begin, place, weather, planted, silo, belt, cell, chance },
    agenda: new Agenda(begin),
    drive: new Drive(chance("drive"), planted, begin),
    counter: new Counter(chance("counter"), food, planted),
    supply: new Supply(chance("supply"), begin),
    thermometers: new Thermometers(chance("thermometers"), planted),
    board: new Board(chance("board"), begin),
    account: new Account({ silo, belt, cell, planted, place }),
    hands: { grams: 0, isHopperOff: false },
  };
}

/** The belt is built first, with a hopper that lasts a few days or some weeks at this place. */
function drawStore(chance: Parts["chance"], food: Silo["food"], habits: Habits, planted: Planted) {
  const probe = new Belt(chance("belt"), new Silo(chance("silo"), food, 1_000, planted), planted);
  const drawn = chance("capacity");
  const usualDays = drawn.factorBetween(4, 35);
  const least = drawn.factorBetween(350, 1_500); // a jar or a bottle, whatever little is eaten
  const daily = 0.5 * Math.min(200, habits.triesPerDay) * probe.portionGrams;
  const capacity = Math.min(15_000, Math.max(least, usualDays * daily, 40 * probe.portionGrams));
  const silo = new Silo(chance("silo"), food, capacity, planted);
  return { silo, belt: new Belt(chance("belt"), silo, planted) };
}

/** Any moment of some years between seven in the morning and noon, by Greenwich. */
function drawBegin(chance: Chance): number {
  return Date.UTC(2027, 0, 1) + chance.whole(0, 3 * 365) * day + Math.round(chance.between(7, 12) * hour);
}

function planFault({ story, agenda, begin, planted, silo, belt }: Parts): void {
  const { fault } = story;
  if (fault === null) return;
  agenda.at(begin + fault.at, () => {
    planted.begin(fault.kind, agenda.now);
    if (fault.kind === "foodBridged") silo.bridge(planted.shows.throatPortions * belt.portionGrams);
  });
}

/** Each hour: gusts shake off what hangs at the belt's edge, and the account follows the birds. */
function planHours(parts: Parts, flock: Flock): void {
  const { agenda, weather, belt, account, counter, planted } = parts;
  const gusts = parts.chance("gusts");
  const loose = gusts.between(0, 0.02);
  const everyHour = () => {
    const isShaken = gusts.happens(Math.min(0.5, loose * weather.at(agenda.now).wind));
    const fallen = isShaken ? belt.fallLate() : null;
    if (fallen !== null && fallen.pieces > 0) {
      account.fell(agenda.now, fallen);
      counter.total += gusts.ofMany(fallen.pieces, 0.9 * planted.clearness(agenda.now));
    }
    account.bouts = flock.bouts;
    agenda.in(hour, everyHour);
  };
  everyHour();
}
