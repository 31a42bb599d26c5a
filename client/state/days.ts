import { signal } from "@preact/signals";
import type { DayView } from "../../server/contract/api.ts";
import { type ApiResult, api } from "../api/api.ts";
import type { LocalStore } from "../offline/localStore.ts";
import { localDate } from "../text/clock.ts";
import { serverNow } from "./clock.ts";
import { updateConnectionState } from "./home.ts";

/** Days of feeders, as loaded. The phone stores the newest few, so that they can be read without a connection. */
interface StoredDay {
  readonly view: DayView;
  readonly asOf: number;
}
export const days = signal<ReadonlyMap<string, StoredDay>>(new Map());
export const dayError = signal<string | null>(null);

/** The current day of a feeder, as the server last sent it: it goes by the light there, which only the server knows. */
const currentDays = signal<ReadonlyMap<string, { readonly date: string; readonly untilMs: number }>>(new Map());

/** The day that "today" means; without one from the server the date in the yard's time zone. */
export function currentDate(feeder: string, now: number, zone: string): string {
  const current = currentDays.value.get(feeder);
  return current !== undefined && now < current.untilMs ? current.date : localDate(now, zone);
}

const storedDaysMax = 20;
const daysKey = "days";
let store: LocalStore | null = null;
const dayKey = (feeder: string, date: string) => `${feeder} ${date}`;

export const findDay = (feeder: string, date: string) => days.value.get(dayKey(feeder, date)) ?? null;

export async function openDays(kept: LocalStore): Promise<void> {
  store = kept;
  const remembered = await kept.get<readonly (readonly [string, StoredDay])[]>(daysKey);
  if (remembered !== undefined) days.value = new Map([...remembered, ...days.value]);
}

export async function loadDay(feeder: string, date: string): Promise<ApiResult<DayView>> {
  const answer = await api.day(feeder, date);
  updateConnectionState(answer);
  if (answer.kind === "problem") {
    dayError.value = answer.problem.detail;
    return answer;
  }
  dayError.value = null;
  if (answer.kind !== "ok") return answer;
  const rest = [...days.value].filter(([key]) => key !== dayKey(feeder, date));
  const kept = [...rest, [dayKey(feeder, date), { view: answer.value, asOf: serverNow() }] as const].slice(
    -storedDaysMax,
  );
  days.value = new Map(kept);
  const { date: today, until } = answer.value.current;
  currentDays.value = new Map([...currentDays.value, [feeder, { date: today, untilMs: Date.parse(until) }]]);
  store?.put(daysKey, kept).catch((cause: unknown) => console.warn("A day could not be stored.", cause));
  return answer;
}
