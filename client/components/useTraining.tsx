import type { VNode } from "preact";
import * as text from "#text/trainingScreen.ts";
import type { YardView } from "../../server/contract/api.ts";
import type { TrainingView } from "../../server/contract/trainingView.ts";
import { now } from "../state/clock.ts";
import { connectionState, home, yards } from "../state/home.ts";
import { loadTraining, trainingError, trainings } from "../state/training.ts";
import { momentText } from "../text/clock.ts";
import { useLoad } from "./useLoad.ts";

interface Training {
  readonly yard: YardView | null; // null: not found, or not loaded yet
  readonly view: TrainingView | null;
  /** Why there is no record, or of when it is; null where it is of now, or still being loaded. */
  readonly notice: VNode | null;
}

/** A yard's training record: loaded when its screen is opened, and as last known without a connection. */
export function useTraining(id: string): Training {
  // While a practice yard lives its programme, its record grows.
  const programme = home.value?.view.practice.programme;
  useLoad(() => loadTraining(id), [id, programme?.yard === id ? programme.lived : null]);
  const yard = yards.value.find((each) => each.id === id) ?? null;
  const known = trainings.value.get(id);
  const isOffline = connectionState.value === "offline";
  if (known === undefined || yard === null) {
    const problem = trainingError.value ?? (isOffline ? text.notOnPhoneText : null);
    return { yard, view: null, notice: problem === null ? null : <p class="empty">{problem}</p> };
  }
  const asOf = momentText(new Date(known.asOf).toISOString(), now.value, yard.zone);
  const isOld = isOffline || trainingError.value !== null;
  return {
    yard,
    view: known.view,
    notice: isOld ? <p class="hint">{[trainingError.value, text.asOfText(asOf)].filter(Boolean).join(" ")}</p> : null,
  };
}
