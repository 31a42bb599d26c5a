import { signal } from "@preact/signals";
import type { StillsView } from "../../server/contract/stillView.ts";
import type { ApiResult } from "../api/api.ts";
import { stillApi } from "../api/stillApi.ts";
import { type LocalStore, openLocalStore } from "../offline/localStore.ts";
import { serverNow } from "./clock.ts";
import { updateConnectionState } from "./home.ts";

/** The newest stills by yard, as last loaded: the phone stores the list, not the pictures. */
interface StoredStills {
  readonly view: StillsView;
  readonly asOf: number;
}
export const stills = signal<ReadonlyMap<string, StoredStills>>(new Map());
export const stillsError = signal<string | null>(null);

const stillsKey = "stills";
const storedYardsMax = 5;
let store: LocalStore | null = null;
/** Opened with its screen, not with the first page, which should stay small. */
let opening: Promise<void> | null = null;

export function openStills(opened: LocalStore): Promise<void> {
  opening = readStored(opened);
  return opening;
}

async function readStored(opened: LocalStore): Promise<void> {
  store = opened;
  const remembered = await opened.get<readonly (readonly [string, StoredStills])[]>(stillsKey);
  if (remembered !== undefined) stills.value = new Map([...remembered, ...stills.value]);
}

export async function loadStills(yard: string): Promise<ApiResult<StillsView>> {
  opening ??= openLocalStore().then(readStored);
  await opening;
  const result = await stillApi.stills(yard, null);
  updateConnectionState(result);
  stillsError.value = result.kind === "problem" ? result.problem.detail : null;
  if (result.kind === "ok") keepStills(yard, result.value);
  return result;
}

/** Takes the newest stills as the server has just answered them. */
export function keepStills(yard: string, view: StillsView): void {
  const rest = [...stills.value].filter(([known]) => known !== yard);
  const latest = [...rest, [yard, { view, asOf: serverNow() }] as const].slice(-storedYardsMax);
  stills.value = new Map(latest);
  store?.put(stillsKey, latest).catch((cause: unknown) => console.warn("The stills could not be stored.", cause));
}
