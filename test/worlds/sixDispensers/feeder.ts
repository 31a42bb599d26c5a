import type { PostedReport } from "../../../server/contract/readReport.ts";
import type { KeeperPhone, Story } from "../world.ts";
import { Agenda, day, hour, minute } from "./agenda.ts";
import { Balance } from "./balance.ts";
import { ChuteBeam } from "./beam.ts";
import { Board, Radio } from "./board.ts";
import { Drive } from "./drive.ts";
import { type BirdAct, Flock } from "./flock.ts";
import { drawMix, Hopper, type Mix, meanPiece } from "./hopper.ts";
import { Malfunction } from "./malfunction.ts";
import { drawBuild, Mechanism } from "./mechanism.ts";
import type { Parts } from "./parts.ts";
import { type KeeperAct, Person } from "./person.ts";
import { drawPlace } from "./place.ts";
import { Power } from "./power.ts";
import { drawRules, Program } from "./program.ts";
import { Reporter } from "./reporter.ts";
import { firstSettings, type Settings, weighedAgain } from "./settings.ts";
import { Weather } from "./sky.ts";
import { Stream } from "./stream.ts";
import { Tally } from "./tally.ts";
import { Thermometers } from "./thermometers.ts";

export interface Log {
  readonly arrived: (report: PostedReport, now: number) => void;
  readonly tell: (act: KeeperAct, now: number) => void;
  readonly set: (settings: Settings, now: number) => void;
}

export interface Feeder {
  readonly parts: Parts;
  readonly begin: () => void;
}

/** Draws a feeder and its yard from the story's seed. */
export function buildFeeder(story: Story, phone: KeeperPhone, log: Log): Feeder {
  const stream = (name: string) => new Stream(story.seed, name);
  const begin = Date.UTC(2024, 2, 1) + stream("begin").whole(0, 730 * 24) * hour; // some hour of two years
  const agenda = new Agenda();
  const place = drawPlace(stream("place"));
  const weather = new Weather(stream("weather"), place, begin);
  const senseBird = (act: BirdAct, now: number) => program.sense(act, now);
  const flock = new Flock(stream("flock"), place, weather, agenda, senseBird);
  const rules = drawRules(stream("rules"), story.sensors);
  const malfunction = new Malfunction();
  const sky = weather.now;

  const build = drawBuild(stream("build"));
  const mix = drawMix(stream("mix"));
  const perDay = portionsPerDay(rules, flock);
  const sized = sizes(stream("sizes"), build.portion, mix, perDay);
  const hopper = new Hopper(stream("hopper"), mix, sized.capacity, sized.tail);
  const mechanism = new Mechanism(stream("mechanism"), build, hopper, {
    malfunction,
    portion: sized.portion,
    at: begin,
  });
  const parts: Parts = {
    ...{ story, begin, agenda, place, weather, flock, hopper, mechanism, malfunction, stream },
    drive: new Drive(stream("drive"), build, malfunction, begin),
    beam: new ChuteBeam(stream("beam"), build, mix, malfunction, begin),
    balance: new Balance(stream("balance"), malfunction, sky, { capacity: sized.capacity, at: begin }),
    thermometers: new Thermometers(stream("thermometers"), malfunction, sky),
    power: new Power(stream("power"), place, sky),
    board: new Board(stream("board")),
    radio: new Radio(stream("radio"), begin),
    tally: new Tally({ hopper, malfunction, flock, sun: weather.sun, portion: sized.portion }),
  };
  const program = new Program(parts, rules);
  const person = new Person(parts, program, phone, log.tell);
  const reporter = new Reporter(parts, program, person, log.arrived);
  return { parts, begin: () => beginStory({ parts, program, person, reporter, log, perDay }) };
}

interface Beginning {
  readonly parts: Parts;
  readonly program: Program;
  readonly person: Person;
  readonly reporter: Reporter;
  readonly log: Log;
  readonly perDay: number;
}

function beginStory({ parts, program, person, reporter, log, perDay }: Beginning): void {
  const { story, begin, agenda, hopper, mechanism, flock, stream } = parts;
  const chance = stream("beginning");
  const first = firstFilling(parts, chance, perDay);
  hopper.pour(first); // before the feeder starts
  log.set(firstSettings(parts, chance), begin);
  person.tellFirst(first, begin);
  if (chance.chance(0.25)) {
    agenda.add(begin + Math.round(chance.uniform(3, 40) * day), (now) => log.set(weighedAgain(parts, chance), now));
  }
  program.begin(begin);
  flock.begin(begin);
  person.begin(begin);
  reporter.begin(begin + chance.whole(5, 600) * 1_000);
  const { fault } = story;
  if (fault === null) return;
  agenda.add(begin + fault.at, (now) => {
    parts.malfunction.begin(fault.kind, now);
    if (fault.kind === "foodBridged") hopper.bridge(mechanism.portion * chance.uniform(0, 5));
    if (fault.kind === "buttonChatters") program.chatter(now + chance.uniform(0, 20) * minute);
  });
}

/** Where nobody refills, what is poured in first is less than the story's days need, as far as one can tell beforehand. */
function firstFilling({ story, hopper, mechanism }: Parts, stream: Stream, perDay: number): number {
  const much = hopper.capacity * stream.uniform(0.6, 1);
  if (story.refills === "whenAsked") return much;
  const enough = mechanism.portion * perDay * story.days * stream.uniform(0.15, 0.6);
  return Math.min(much, Math.max(15 * mechanism.portion, enough));
}

interface Sizes {
  readonly portion: number; // grams
  readonly capacity: number; // grams
  readonly tail: number; // grams below which it trickles
}

/** A hopper is built for some days to weeks, of what is at hand. */
function sizes(stream: Stream, range: readonly [number, number], mix: Mix, perDay: number): Sizes {
  const portion = Math.max(stream.logUniform(...range), 3.5 * meanPiece(mix));
  const days = stream.logUniform(5, 35);
  const capacity = Math.max(350, 40 * portion, Math.min(9_000, portion * perDay * days));
  return { portion, capacity, tail: portion * stream.uniform(1.5, 10) };
}

/** A rough guess, as a builder makes it. */
function portionsPerDay(rules: ReturnType<typeof drawRules>, flock: Flock): number {
  const { presses, drops } = flock.expected;
  const paid = 0.6 * (presses * rules.pressPays + 0.7 * drops * rules.depositPays);
  return Math.max(2, rules.timerPerDay + Math.min(rules.dailyMax, paid));
}
