import { signal } from "@preact/signals";
import type { HistoryView } from "../../server/contract/api.ts";
import type { ApiResult } from "../api/api.ts";
import { laterApi } from "../api/laterApi.ts";
import { type LocalStore, openLocalStore } from "../offline/localStore.ts";
import { serverNow } from "./clock.ts";
import { updateConnectionState } from "./home.ts";

/** Histories of feeders, as last loaded. The phone stores the newest few, so that they can be read without a connection. */
export interface StoredHistory {
  readonly view: HistoryView;
  readonly asOf: number;
}
export const histories = signal<ReadonlyMap<string, StoredHistory>>(new Map());

/** What a chart asks for: `history` in client/api/laterApi.ts has it by its columns. */
export interface HistoryQuery {
  /** What is shown, the same each day: an answer replaces the one before it. */
  readonly name: string;
  readonly feeder: string;
  readonly from: string;
  readonly to: string;
  readonly points: number;
  readonly columns: string;
}

const historiesKey = "histories";
/** Some 5 kB each, a year 20 kB. */
const storedMax = 24;
let store: LocalStore | null = null;
/** Opened with the first of its screens, not with the first page, which should stay small. */
let opening: Promise<void> | null = null;

export function openHistories(opened: LocalStore): Promise<void> {
  opening = readStored(opened);
  return opening;
}

async function readStored(opened: LocalStore): Promise<void> {
  store = opened;
  const remembered = await opened.get<readonly (readonly [string, StoredHistory])[]>(historiesKey);
  if (remembered !== undefined) histories.value = new Map([...remembered, ...histories.value]);
}

const keyOf = ({ feeder, name }: Pick<HistoryQuery, "feeder" | "name">) => `${feeder} ${name}`;

export const findHistory = (query: Pick<HistoryQuery, "feeder" | "name">): StoredHistory | null =>
  histories.value.get(keyOf(query)) ?? null;

export async function loadHistory(query: HistoryQuery): Promise<ApiResult<HistoryView>> {
  opening ??= openLocalStore().then(readStored);
  await opening;
  const { name: _, feeder, ...span } = query;
  const result = await laterApi.history(feeder, span);
  updateConnectionState(result);
  if (result.kind === "ok") accept(keyOf(query), result.value);
  return result;
}

function accept(key: string, view: HistoryView): void {
  const rest = [...histories.value].filter(([known]) => known !== key);
  const latest = [...rest, [key, { view, asOf: serverNow() }] as const].slice(-storedMax);
  histories.value = new Map(latest);
  store
    ?.put(historiesKey, latest)
    .catch((cause: unknown) => console.warn("The pictures of the days could not be stored.", cause));
}
