import type { CallView, YardView } from "../../server/contract/api.ts";
import { now } from "../state/now.ts";
import { toldWords, unreachableWords } from "../words/told.ts";

/** Whom an alarm has reached; or that it has reached nobody. */
export function Told({ call, yard }: { readonly call: CallView | undefined; readonly yard: YardView }) {
  if (call === undefined) return null;
  if (call.unreachable && call.told.length === 0) {
    return (
      <p class="problem">
        {unreachableWords} <a href={`/yards/${yard.id}/people`}>Who is told</a>
      </p>
    );
  }
  const words = toldWords(call, now.value, yard.zone);
  return words === "" ? null : <p class="since">{words}</p>;
}
