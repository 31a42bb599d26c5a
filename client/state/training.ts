import { signal } from "@preact/signals";
import type { TrainingView } from "../../server/contract/trainingView.ts";
import type { ApiResult } from "../api/api.ts";
import { laterApi } from "../api/laterApi.ts";
import { type LocalStore, openLocalStore } from "../offline/localStore.ts";
import { serverNow } from "./clock.ts";
import { updateConnectionState } from "./home.ts";

/** The training record by yard, as last loaded. The phone stores it, so that it can be read in the garden without a connection. */
interface StoredTraining {
  readonly view: TrainingView;
  readonly asOf: number;
}
export const trainings = signal<ReadonlyMap<string, StoredTraining>>(new Map());
export const trainingError = signal<string | null>(null);

const trainingKey = "training";
const storedYardsMax = 5;
let store: LocalStore | null = null;
/** Opened with the first of its screens, not with the first page, which should stay small. */
let opening: Promise<void> | null = null;

export function openTraining(opened: LocalStore): Promise<void> {
  opening = readStored(opened);
  return opening;
}

async function readStored(opened: LocalStore): Promise<void> {
  store = opened;
  const remembered = await opened.get<readonly (readonly [string, StoredTraining])[]>(trainingKey);
  if (remembered !== undefined) trainings.value = new Map([...remembered, ...trainings.value]);
}

export async function loadTraining(yard: string): Promise<ApiResult<TrainingView>> {
  opening ??= openLocalStore().then(readStored);
  await opening;
  const result = await laterApi.training(yard);
  updateConnectionState(result);
  trainingError.value = result.kind === "problem" ? result.problem.detail : null;
  if (result.kind === "ok") acceptTraining(result.value);
  return result;
}

/** What the server answers to a request or to a change. */
export function acceptTraining(view: TrainingView): void {
  const rest = [...trainings.value].filter(([known]) => known !== view.yard);
  const latest = [...rest, [view.yard, { view, asOf: serverNow() }] as const].slice(-storedYardsMax);
  trainings.value = new Map(latest);
  store
    ?.put(trainingKey, latest)
    .catch((cause: unknown) => console.warn("The training record could not be stored.", cause));
}
