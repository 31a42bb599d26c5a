import * as text from "#text/trainingScreen.ts";
import type { StageView } from "../../server/contract/trainingView.ts";
import { usesCaps } from "../text/stages.ts";
import { LinkedText } from "./linkedText.tsx";

/** What a keeper must know where a stage is started or caps are laid out; the rest is on the page of cautions. */
export const TrainingCautions = ({ stage }: { readonly stage: StageView }) => (
  <div class="training-cautions">
    <h4>{text.cautionsTitle}</h4>
    <ul>
      {cautionsOf(stage).map((caution) => (
        <li key={caution}>{caution}</li>
      ))}
      <li>
        <LinkedText text={text.rulesCaution} hrefs={["/cautions"]} />
      </li>
    </ul>
  </div>
);

const cautionsOf = (stage: StageView): readonly string[] => [
  ...(stage.earns.free === null ? [text.noFreeFoodCaution] : []),
  ...(usesCaps(stage) ? text.capCautions : []),
  ...text.foodCautions,
];
