import { signal } from "@preact/signals";
import type { RatesView } from "../../server/contract/api.ts";
import type { Cupboard } from "../kept/cupboard.ts";
import type { Answer } from "../reach/api.ts";
import { api } from "../reach/api.ts";
import { noteLine } from "./home.ts";
import { serverNow } from "./now.ts";

/** The alarms' own health, by yard, as last fetched. The phone keeps it, so that it can be read without a line. */
interface KnownRates {
  readonly view: RatesView;
  readonly asOf: number;
}
export const rates = signal<ReadonlyMap<string, KnownRates>>(new Map());
export const ratesProblem = signal<string | null>(null);

const ratesKey = "rates";
const yardsKept = 5;
let cupboard: Cupboard | null = null;

export async function openRates(kept: Cupboard): Promise<void> {
  cupboard = kept;
  const remembered = await kept.get<readonly (readonly [string, KnownRates])[]>(ratesKey);
  if (remembered !== undefined) rates.value = new Map([...remembered, ...rates.value]);
}

export async function loadRates(yard: string): Promise<Answer<RatesView>> {
  const answer = await api.rates(yard);
  noteLine(answer);
  ratesProblem.value = answer.kind === "problem" ? answer.problem.detail : null;
  if (answer.kind !== "ok") return answer;
  const rest = [...rates.value].filter(([known]) => known !== yard);
  const kept = [...rest, [yard, { view: answer.value, asOf: serverNow() }] as const].slice(-yardsKept);
  rates.value = new Map(kept);
  cupboard?.put(ratesKey, kept).catch((cause: unknown) => console.warn("The rates could not be kept.", cause));
  return answer;
}
