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

export async function openDays(opened: LocalStore): Promise<void> {
  store = opened;
  const remembered = await opened.get<readonly (readonly [string, StoredDay])[]>(daysKey);
  if (remembered !== undefined) days.value = new Map([...remembered, ...days.value]);
}

export async function loadDay(feeder: string, date: string): Promise<ApiResult<DayView>> {
  const result = await api.day(feeder, date);
  updateConnectionState(result);
  if (result.kind === "problem") {
    dayError.value = result.problem.detail;
    return result;
  }
  dayError.value = null;
  if (result.kind !== "ok") return result;
  const rest = [...days.value].filter(([key]) => key !== dayKey(feeder, date));
  const latest = [...rest, [dayKey(feeder, date), { view: result.value, asOf: serverNow() }] as const].slice(
    -storedDaysMax,
  );
  days.value = new Map(latest);
  const { date: today, until } = result.value.current;
  currentDays.value = new Map([...currentDays.value, [feeder, { date: today, untilMs: Date.parse(until) }]]);
  store?.put(daysKey, latest).catch((cause: unknown) => console.warn("A day could not be stored.", cause));
  return result;
}
