import { randomUUID } from "node:crypto";
import type { PracticeProgrammeView } from "../contract/api.ts";
import type { TrainingView } from "../contract/trainingView.ts";
import { earlier, type Instant } from "../domain/instant.ts";
import { addLocalDays, instantOfLocal, localDateOf, localDaysBetween } from "../domain/localTime.ts";
import { presentPeriod } from "../domain/training/programme.ts";
import { type StageKind, stageKinds } from "../domain/training/stage.ts";
import type { Ports, YardRow } from "../ports.ts";
import { type DayWeather, newLearningBirds, taughtBirds } from "../practice/model/learningBirds.ts";
import type { Mishap } from "../practice/programmeDay.ts";
import { morningAfter, ProgrammeFeeder, programmeFeeder, programmeSensors } from "../practice/programmeFeeder.ts";
import { practiceYard } from "../practice/yard.ts";
import { texts } from "../text/index.ts";
import type { FeederKeys } from "./feederKeys.ts";
import { changeFeeder, prepareNewFeeder } from "./feeders.ts";
import { createIngest } from "./ingest.ts";
import { addNote } from "./notes.ts";
import {
  afterRemoval,
  isProgrammeYard,
  programmeYardRow,
  removePracticeYards,
  removeYardsOfPractice,
} from "./practice.ts";
import { changeProgramme, programmeFrom } from "./programmeChanges.ts";
import { trainingView } from "./training.ts";

/**
 * A practice yard that lives the past weeks of a whole training programme, a day at each step. Its feeder reports the days from its own store,
 * as a feeder does that was without a network; its keeper reads the record each morning, follows the advice and writes notes. All of it goes
 * through the flows of real reports and keepers. What runs is in memory only: after a restart the yard stands where it was.
 */
export interface PracticeProgramme {
  /** After a restart: one that had not lived a day begins, another stands where it was. */
  resume(): Promise<void>;
  /** Removes an earlier one and begins anew. @param keeper who sees the yard */
  start(keeper: string): Promise<void>;
  /** Lives no further day. The record so far stays. */
  stop(): Promise<void>;
  remove(): Promise<void>;
  /** Lives one day, or reports that the feeder is well. Called every few seconds; a failed step is repeated by the next one. */
  step(): Promise<void>;
  state(): PracticeProgrammeView | null;
  /** The moment at which the yard's record is read: that of the lived programme. */
  readAt(yard: string, now: Instant): Instant;
}

const weeks = 8;
const daysLived = 7 * weeks;

interface Run {
  readonly yard: YardRow;
  readonly feederId: string;
  readonly feeder: ProgrammeFeeder;
  readonly firstDate: string;
  phase: PracticeProgrammeView["phase"];
  day: number; // the next one
  unsent: LivedEvents;
  isMorning: boolean; // the keeper has yet to read the record of the days before
  weather: DayWeather[];
  stage: { readonly kind: StageKind; readonly name: string };
  advice: string | null;
  today: { readonly date: string; events: LivedEvents } | null;
  livedUntil: Instant;
  nextReportAt: Instant;
}

type LivedEvents = ReturnType<ProgrammeFeeder["liveDay"]>["events"];

export function createPracticeProgramme(ports: Ports, keys: FeederKeys, seed: number): PracticeProgramme {
  const ingest = createIngest(ports);
  let run: Run | null = null;
  let last: Promise<unknown> = Promise.resolve();
  /** One at a time: a start must not meet a step that is under way. */
  const inTurn = <T>(work: () => Promise<T>): Promise<T> => {
    const result = last.then(work, work);
    last = result.catch(() => undefined); // its caller has the error
    return result;
  };

  async function begin(keeper: string): Promise<void> {
    run = null;
    run = await addYardOf(ports, keys, { keeper, seed });
    ports.liveFeed.reconnect(keeper);
  }

  return {
    resume: () =>
      inTurn(async () => {
        run ??= await resumed(ports, seed);
      }),
    start: (keeper) => inTurn(() => begin(keeper)),
    stop: () =>
      inTurn(async () => {
        if (run?.phase === "living") run.phase = "stopped";
      }),
    remove: () =>
      inTurn(async () => {
        run = null;
        await removeYardsOfPractice(ports, keys, isProgrammeYard);
      }),
    step: () =>
      inTurn(async () => {
        if (run === null) return;
        const isThere = await stepOf(ports, ingest, run);
        if (!isThere) run = null;
      }),
    state: () => run && stateOf(run),
    readAt: (yard, now) => (run === null || run.yard.id !== yard || run.phase === "ended" ? now : run.livedUntil),
  };
}

/** In one commit with the removal of an earlier one. */
async function addYardOf(ports: Ports, keys: FeederKeys, of: { keeper: string; seed: number }): Promise<Run> {
  const yard = programmeYardRow();
  const now = ports.clock.now();
  const { id, removed } = await ports.store.withStores(async ({ yards }) => {
    const removed = await removePracticeYards(yards, isProgrammeYard);
    await yards.addYard(yard, of.keeper, now);
    const { stored } = prepareNewFeeder(yard, programmeFeeder, null, now);
    await yards.addFeeder(stored, now);
    return { id: stored.id, removed };
  });
  await afterRemoval(ports, keys, removed);
  return newRun({ yard, id, now, seed: of.seed, phase: "living" });
}

function newRun(of: { yard: YardRow; id: string; now: Instant; seed: number; phase: Run["phase"] }): Run {
  const { yard, id, now, seed, phase } = of;
  const firstDate = addLocalDays(localDateOf(now, practiceYard.zone), -daysLived);
  const bootedAt = phase === "living" ? instantOfLocal(firstDate, "00:00", practiceYard.zone) : now;
  const boot = `programme-${randomUUID().slice(0, 8)}`;
  return {
    ...{ yard, firstDate, phase, feederId: id, day: 0, unsent: [], isMorning: false, weather: [] },
    feeder: new ProgrammeFeeder({ seed, boot, bootedAt, birds: newLearningBirds }),
    stage: { kind: "comeForFood", name: texts.training.stageNames.comeForFood },
    ...{ advice: null, today: null, livedUntil: bootedAt, nextReportAt: now },
  };
}

/** After a restart the birds and the feeder's numbers are gone. Null: there is no such yard, or it was removed half. */
async function resumed(ports: Ports, seed: number): Promise<Run | null> {
  const yard = (await ports.store.yards.yards()).find(isProgrammeYard);
  const row = (await ports.store.yards.feeders()).find((feeder) => feeder.yard === yard?.id);
  if (yard === undefined || row === undefined) return null;
  const now = ports.clock.now();
  const changes = await ports.store.training.programmeChanges(yard.id);
  if (changes.length === 0) return newRun({ yard, id: row.id, now, seed, phase: "living" });
  const notes = await ports.store.training.notes(yard.id, now, 1);
  const stage = presentPeriod(programmeFrom(changes))?.stage ?? null;
  const livedUntil = Math.max(0, ...changes.map(({ at }) => at), ...notes.map(({ at }) => at)) as Instant;
  const phase = stage?.kind === stageKinds.at(-1) ? "ended" : "interrupted";
  const run = newRun({ yard, id: row.id, now, seed, phase });
  const kind = stage?.kind ?? "comeForFood";
  const boot = `programme-${randomUUID().slice(0, 8)}`;
  const feeder = new ProgrammeFeeder({ seed, boot, bootedAt: now, birds: taughtBirds(kind) });
  return { ...run, feeder, stage: { kind, name: stage?.name ?? texts.training.stageNames[kind] }, livedUntil };
}

/** @returns false where the yard is gone */
async function stepOf(ports: Ports, ingest: ReturnType<typeof createIngest>, run: Run): Promise<boolean> {
  const now = ports.clock.now();
  if (run.phase !== "living") return reportToday(ports, ingest, run, now);
  if (run.day === 0) await beginProgramme(ports, run);
  if (!run.isMorning) liveDays(run, await presentStage(ports, run));
  const air = run.weather.at(-1)?.airCelsius ?? 0;
  const outcome = await ingest.take(run.feederId, run.feeder.report(run.unsent, now, air));
  if (outcome.kind === "unknownFeeder") return false;
  if (outcome.kind !== "answered") throw new Error(`a report of the practice programme was refused: ${outcome.kind}`);
  run.unsent = [];
  await readRecord(ports, run, now);
  run.isMorning = false;
  if (run.day >= daysLived) await end(ports, run);
  ports.liveFeed.announceChange(run.yard.id, null, null);
  return true;
}

async function beginProgramme(ports: Ports, run: Run): Promise<void> {
  // Entered, they are no longer detected by what the feeder reports of the past.
  await changeFeeder(ports, run.feederId, { sensors: programmeFeeder.sensors }, texts.practice.keeper);
  await startStage(ports, run, stageKinds[0], texts.practice.begin, run.livedUntil);
}

async function end(ports: Ports, run: Run): Promise<void> {
  await changeFeeder(ports, run.feederId, { sensors: programmeSensors }, texts.practice.keeper);
  run.phase = "ended";
}

/** A day with broken promises is reported with the next sound one: nobody is to be notified of a past that is over. */
function liveDays(run: Run, stage: Parameters<ProgrammeFeeder["liveDay"]>[1]): void {
  let mishap: Mishap;
  do {
    const date = addLocalDays(run.firstDate, run.day);
    mishap = mishapOf(run, run.day);
    const afterEmpty = mishap === "none" && run.day > 0 && mishapOf(run, run.day - 1) === "hopperEmpty";
    const lived = run.feeder.liveDay({ number: run.day, date, mishap, afterEmpty }, stage);
    run.unsent = [...run.unsent, ...lived.events];
    run.weather = [...run.weather, lived.weather];
    run.day += 1;
  } while (mishap !== "none" && run.day < daysLived);
  run.isMorning = true;
}

/** The third weekend, and one morning of the sixth week. */
function mishapOf({ firstDate }: Run, day: number): Mishap {
  // Day 0 of the epoch was a Thursday: 2 is a Saturday, 3 a Sunday.
  const weekday = localDaysBetween("1970-01-01", addLocalDays(firstDate, day)) % 7;
  if (day >= 14 && day < 21 && (weekday === 2 || weekday === 3)) return "hopperEmpty";
  return day === 37 ? "trayFrozen" : "none";
}

async function presentStage({ store }: Ports, { yard, stage }: Run) {
  const { stages } = programmeFrom(await store.training.programmeChanges(yard.id));
  const found = stages.find(({ kind }) => kind === stage.kind);
  if (found === undefined) throw new Error(`expected the stage ${stage.kind} in the practice programme`);
  return found;
}

// --- the practice keeper ---------------------------------------------------------------------------------------------------

async function startStage(ports: Ports, run: Run, stage: StageKind, reason: string, at: Instant): Promise<void> {
  const content = { kind: "stageStarted", stage, changesPlans: false } as const;
  await changeProgramme(ports, run.yard.id, {
    id: `programme-${stage}`,
    at,
    by: texts.practice.keeper,
    reason,
    content,
  });
}

/** In the morning after the days that were lived last. */
async function readRecord(ports: Ports, run: Run, now: Instant): Promise<void> {
  const at = earlier(morningAfter(addLocalDays(run.firstDate, run.day - 1)), now);
  const feeders = (await ports.store.yards.feeders()).filter(({ yard }) => yard === run.yard.id);
  const { advice } = await trainingView(ports, run.yard, feeders, at);
  await writeNotes(ports, run, at);
  run.livedUntil = at;
  run.advice = advice?.title ?? null;
  if (advice?.kind === "moveOn" && advice.to !== null) await moveOn(ports, run, advice, advice.to, at);
}

type Advice = NonNullable<TrainingView["advice"]>;

async function moveOn(
  ports: Ports,
  run: Run,
  advice: Advice,
  to: NonNullable<Advice["to"]>,
  at: Instant,
): Promise<void> {
  const kind = stageKinds.find((one) => one === to.stage);
  if (kind === undefined) throw new Error(`expected a stage of the ready row, got ${to.stage}`);
  await startStage(ports, run, kind, texts.practice.follows(advice.title, advice.reasons[0] ?? ""), at);
  run.stage = { kind, name: to.name };
}

/** Its id names the day, so that a repeated step writes it once. */
async function writeNotes(ports: Ports, run: Run, at: Instant): Promise<void> {
  const write = (name: string, text: string) =>
    addNote(
      ports,
      run.yard.id,
      { id: `programme-${name}-${run.day}`, text, feeder: run.feederId },
      { at: () => at, by: texts.practice.keeper },
    );
  const before = mishapOf(run, run.day - 2);
  if (before === "hopperEmpty") await write("empty", texts.practice.emptyNote);
  if (before === "trayFrozen") await write("frozen", texts.practice.frozenNote);
  if (Math.floor(run.day / 7) === Math.floor((run.day - 1) / 7)) return;
  const week = run.weather.slice(-7);
  const days = (kind: DayWeather["kind"]) => week.filter((day) => day.kind === kind).length;
  const celsius = week.map(({ airCelsius }) => airCelsius);
  const text = texts.practice.weekNote(
    days("fair"),
    days("rain"),
    days("snow"),
    Math.min(...celsius),
    Math.max(...celsius),
  );
  await write("week", text);
}

// --- after the programme -----------------------------------------------------------------------------------------------------

const reportEvery = 1_000 * programmeFeeder.reportEverySeconds;

/** The feeder goes on as one that works: otherwise it would be reported as silent. */
async function reportToday(
  ports: Ports,
  ingest: ReturnType<typeof createIngest>,
  run: Run,
  now: Instant,
): Promise<boolean> {
  if (now < run.nextReportAt) return true;
  const date = localDateOf(now, practiceYard.zone);
  if (run.today?.date !== date) {
    const number = daysLived + Math.floor(now / 86_400_000);
    const lived = run.feeder.liveDay(
      { number, date, mishap: "none", afterEmpty: false },
      await presentStage(ports, run),
    );
    run.today = { date, events: lived.events };
    run.weather = [lived.weather];
  }
  const { today } = run;
  const due = today.events.filter(({ uptimeMs }) => uptimeMs <= run.feeder.uptimeAt(now));
  const outcome = await ingest.take(run.feederId, run.feeder.report(due, now, run.weather[0]?.airCelsius ?? 0));
  if (outcome.kind === "unknownFeeder") return false;
  today.events = today.events.slice(due.length);
  run.nextReportAt = (now + reportEvery) as Instant;
  return true;
}

function stateOf({ yard, phase, day, stage, advice }: Run): PracticeProgrammeView {
  const week = Math.min(weeks, 1 + Math.floor(Math.max(0, day - 1) / 7));
  const text = texts.practice;
  const said = {
    living: () => text.living(week, weeks, stage.name, advice),
    ended: () => text.ended(weeks, stage.name),
    stopped: () => text.stopped(week, weeks),
    interrupted: () => text.interrupted,
  };
  return { yard: yard.id, phase, text: said[phase](), lived: Math.round((100 * day) / daysLived) };
}
