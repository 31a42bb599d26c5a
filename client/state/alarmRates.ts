import { signal } from "@preact/signals";
import type { RatesView } from "../../server/contract/api.ts";
import type { ApiResult } from "../api/api.ts";
import { laterApi } from "../api/laterApi.ts";
import { type LocalStore, openLocalStore } from "../offline/localStore.ts";
import { serverNow } from "./clock.ts";
import { updateConnectionState } from "./home.ts";

/** The alarm history by yard, as last loaded. The phone stores it, so that it can be read without a connection. */
interface StoredAlarmRates {
  readonly view: RatesView;
  readonly asOf: number;
}
export const alarmRates = signal<ReadonlyMap<string, StoredAlarmRates>>(new Map());
export const alarmRatesError = signal<string | null>(null);

const ratesKey = "rates";
const storedYardsMax = 5;
let store: LocalStore | null = null;

/** Opened with its screen, not with the first page, which should stay small. */
let opening: Promise<void> | null = null;

export function openAlarmRates(opened: LocalStore): Promise<void> {
  opening = readStored(opened);
  return opening;
}

async function readStored(opened: LocalStore): Promise<void> {
  store = opened;
  const remembered = await opened.get<readonly (readonly [string, StoredAlarmRates])[]>(ratesKey);
  if (remembered !== undefined) alarmRates.value = new Map([...remembered, ...alarmRates.value]);
}

export async function loadAlarmRates(yard: string): Promise<ApiResult<RatesView>> {
  opening ??= openLocalStore().then(readStored);
  await opening;
  const result = await laterApi.alarmRates(yard);
  updateConnectionState(result);
  alarmRatesError.value = result.kind === "problem" ? result.problem.detail : null;
  if (result.kind !== "ok") return result;
  const rest = [...alarmRates.value].filter(([known]) => known !== yard);
  const latest = [...rest, [yard, { view: result.value, asOf: serverNow() }] as const].slice(-storedYardsMax);
  alarmRates.value = new Map(latest);
  store?.put(ratesKey, latest).catch((cause: unknown) => console.warn("The alarm history could not be stored.", cause));
  return result;
}
