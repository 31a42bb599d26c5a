import type { StageView } from "../../server/contract/trainingView.ts";
import { readNumber, readText } from "./field.tsx";
import { readParameters } from "./shapingForm.tsx";

/** A stage from its fields (stageFields.tsx). The server names what is wrong with them. */
export function readStage(data: FormData, id: string): StageView {
  const number = (name: string) => readNumber(data, `${id}.${name}`) as number;
  const share = (name: string) => number(name) / 100;
  return {
    id,
    name: readText(data, `${id}.name`),
    kind: readText(data, `${id}.kind`) as StageView["kind"],
    earns: { free: readFree(data, id), press: readEarned(data, id, "press"), deposit: readEarned(data, id, "deposit") },
    parameters: readParameters(data, `${id}.`),
    criterion: {
      share: share("criterion.share"),
      chanceShare: share("criterion.chanceShare"),
      actsADay: number("criterion.actsADay"),
      days: number("criterion.days"),
    },
    stepBack: { share: share("stepBack.share") },
    usualDays: { from: number("usualDays.from"), to: number("usualDays.to") },
  };
}

function readFree(data: FormData, id: string): StageView["earns"]["free"] {
  const kind = readText(data, `${id}.free.kind`);
  if (kind === "none") return null;
  const meanMinutes = readNumber(data, `${id}.free.meanMinutes`) as number;
  return kind === "jitter"
    ? { kind, meanMinutes, byMinutes: readNumber(data, `${id}.free.byMinutes`) as number }
    : { kind: "variableTime", meanMinutes };
}

function readEarned(data: FormData, id: string, act: "press" | "deposit"): StageView["earns"]["press"] {
  const earns = readText(data, `${id}.${act}.earns`);
  if (earns === "none") return null;
  return {
    ratio: {
      kind: earns === "variable" ? "variable" : "fixed",
      of: earns === "each" ? 1 : (readNumber(data, `${id}.${act}.of`) as number),
    },
    atLeastSecondsBetween: readNumber(data, `${id}.${act}.between`) as number,
  };
}
