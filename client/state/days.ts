import { signal } from "@preact/signals";
import type { DayView } from "../../server/contract/api.ts";
import type { Cupboard } from "../kept/cupboard.ts";
import { type Answer, api } from "../reach/api.ts";
import { localDate } from "../words/clock.ts";
import { noteLine } from "./home.ts";
import { serverNow } from "./now.ts";

/** Days of feeders, as fetched. The phone keeps the newest few, so that a ribbon can be read out in the wood. */
interface KnownDay {
  readonly view: DayView;
  readonly asOf: number;
}
export const days = signal<ReadonlyMap<string, KnownDay>>(new Map());
export const dayProblem = signal<string | null>(null);

/** Which day runs at a feeder, as the server last said: it goes by the light there, which only the server knows. */
const running = signal<ReadonlyMap<string, { readonly date: string; readonly untilMs: number }>>(new Map());

/** The day that "today" means; without the server's word the date by the yard's clock. */
export function runningDate(feeder: string, now: number, zone: string): string {
  const told = running.value.get(feeder);
  return told !== undefined && now < told.untilMs ? told.date : localDate(now, zone);
}

const daysKept = 20;
const daysKey = "days";
let cupboard: Cupboard | null = null;
const keyOf = (feeder: string, date: string) => `${feeder} ${date}`;

export const knownDay = (feeder: string, date: string) => days.value.get(keyOf(feeder, date)) ?? null;

export async function openDays(kept: Cupboard): Promise<void> {
  cupboard = kept;
  const remembered = await kept.get<readonly (readonly [string, KnownDay])[]>(daysKey);
  if (remembered !== undefined) days.value = new Map([...remembered, ...days.value]);
}

export async function loadDay(feeder: string, date: string): Promise<Answer<DayView>> {
  const answer = await api.day(feeder, date);
  noteLine(answer);
  if (answer.kind === "problem") {
    dayProblem.value = answer.problem.detail;
    return answer;
  }
  dayProblem.value = null;
  if (answer.kind !== "ok") return answer;
  const rest = [...days.value].filter(([key]) => key !== keyOf(feeder, date));
  const kept = [...rest, [keyOf(feeder, date), { view: answer.value, asOf: serverNow() }] as const].slice(-daysKept);
  days.value = new Map(kept);
  const { date: today, until } = answer.value.running;
  running.value = new Map([...running.value, [feeder, { date: today, untilMs: Date.parse(until) }]]);
  cupboard?.put(daysKey, kept).catch((cause: unknown) => console.warn("A day could not be kept.", cause));
  return answer;
}
