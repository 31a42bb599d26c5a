import { useRef, useState } from "preact/hooks";
import { saveLabel } from "#text/common.ts";
import * as text from "#text/programmeScreen.ts";
import { editReasons } from "#text/trainingScreen.ts";
import type { YardView } from "../../server/contract/api.ts";
import type { StageView, TrainingView } from "../../server/contract/trainingView.ts";
import { newId } from "../state/actions.ts";
import { announce } from "../state/announcement.ts";
import { percentProblem } from "../text/percentProblem.ts";
import { presentPeriod } from "../text/training.ts";
import { FormError, NumberField, readNumber } from "./field.tsx";
import { readStage } from "./readStage.ts";
import { ReasonFields, useProgrammeChange } from "./reasonFields.tsx";
import { StageFields } from "./stageFields.tsx";

interface FormProps {
  readonly view: TrainingView;
  readonly yard: YardView;
  readonly onSaved: () => void;
}

/** The row of stages as an editable list, and the least share of promises, with one Save and one reason. */
export function ProgrammeForm({ view, yard, onSaved }: FormProps) {
  const list = useStageList(view.stages);
  const { sending, problems, formError, form, save, problemOf } = useSave({ view, yard, onSaved }, list.entries);
  return (
    <form ref={form} onSubmit={(event) => void save(event)} noValidate>
      <p class="hint">{text.stagesHint}</p>
      <FormError text={formError ?? problems["content.stages"] ?? null} />
      <ol class="stage-list">
        {list.entries.map(({ key, stage }, index) => (
          <StageEntry
            key={key}
            {...{ stage, index, list }}
            isPresent={presentPeriod(view)?.stage === key}
            problemOf={problemOf(key)}
          />
        ))}
      </ol>
      <div class="actions">
        <button type="button" onClick={list.add}>
          {text.addLabel}
        </button>
        <button type="button" onClick={() => list.reset(view.readyStages)}>
          {text.readyLabel}
        </button>
      </div>
      <NumberField
        {...{ name: "keptMin", label: text.keptMinLabel, hint: text.keptMinHint, unit: text.percentUnit }}
        {...{ min: 50, max: 100, value: Math.round(1000 * view.keptMin) / 10 }}
        problem={percentProblem(problems["content.keptMin"])}
      />
      <ReasonFields ready={editReasons} problems={problems} zone={yard.zone} />
      <div class="actions">
        <button type="submit" class="main" disabled={sending}>
          {saveLabel}
        </button>
      </div>
    </form>
  );
}

type StageProblems = (field: string) => string | undefined;

/** Sends what was changed. A problem stays with its stage, also where that is moved before the next try. */
function useSave({ view, yard, onSaved }: FormProps, entries: readonly Entry[]) {
  const programmeChange = useProgrammeChange(yard);
  const { problems, change } = programmeChange;
  const sent = useRef<readonly string[]>([]); // the order that the problems' numbers are of
  const save = async (event: SubmitEvent) => {
    event.preventDefault();
    const data = new FormData(event.currentTarget as HTMLFormElement);
    const stages = entries.map(({ key }) => readStage(data, key));
    const keptMin = (readNumber(data, "keptMin") as number) / 100;
    sent.current = stages.map(({ id }) => id);
    const isSame = asText(stages) === asText(view.stages);
    const isUnchanged = isSame && keptMin === view.keptMin;
    // The smaller change first: if the other one is refused, what was typed for it is still there.
    if (keptMin !== view.keptMin && !(await change({ kind: "keptMinChanged", keptMin }))) return;
    if (!isSame && !(await change({ kind: "stagesEdited", stages }))) return;
    announce(isUnchanged ? text.unchangedText : text.savedText);
    if (!isUnchanged) onSaved();
  };
  const problemOf = (id: string): StageProblems | null => {
    const prefix = `content.stages.${sent.current.indexOf(id)}.`;
    const hasAny = Object.keys(problems).some((field) => field.startsWith(prefix));
    return hasAny ? (field) => problems[`${prefix}${field}`] : null;
  };
  return { ...programmeChange, save, problemOf };
}

interface Entry {
  readonly key: string; // the stage's id
  readonly round: number; // another one draws the fields anew, with the stage's own values
  readonly stage: StageView;
}

/** The order of the stages in the form. What is typed in a stage goes with it when it is moved. */
function useStageList(stages: readonly StageView[]) {
  const entryOf = (stage: StageView, round = 0): Entry => ({ key: stage.id, round, stage });
  const [entries, setEntries] = useState<readonly Entry[]>(() => stages.map((stage) => entryOf(stage)));
  const swap = (index: number, by: -1 | 1) => {
    const [one, other] = [entries[index], entries[index + by]];
    if (one === undefined || other === undefined) return;
    setEntries(entries.map((entry) => (entry === one ? other : entry === other ? one : entry)));
    announce(text.movedText(one.stage.name, index + by + 1));
  };
  return {
    entries,
    swap,
    remove: (index: number) => {
      announce(text.removedText(entries[index]?.stage.name ?? ""));
      setEntries(entries.filter((_, each) => each !== index));
    },
    add: () => {
      const last = entries.at(-1)?.stage;
      if (last === undefined) return;
      setEntries([...entries, entryOf({ ...last, id: newId(), name: text.newStageName })]);
      announce(text.addedText);
    },
    reset: (ready: readonly StageView[]) => {
      const round = 1 + Math.max(0, ...entries.map((entry) => entry.round));
      setEntries(ready.map((stage) => entryOf(stage, round)));
      announce(text.readyText);
    },
  };
}

interface EntryProps {
  readonly stage: StageView;
  readonly index: number;
  readonly list: ReturnType<typeof useStageList>;
  readonly isPresent: boolean;
  readonly problemOf: StageProblems | null; // null where it has none
}

function StageEntry(props: EntryProps) {
  const { stage, index, list, isPresent, problemOf } = props;
  const { round } = list.entries[index] ?? { round: 0 };
  const { name } = stage;
  return (
    <li>
      <details open={problemOf !== null || undefined}>
        <summary>
          {text.stageSummary(index + 1, name)} {isPresent && <span class="since">{text.presentTag}</span>}
        </summary>
        <StageFields key={round} stage={stage} problemOf={problemOf ?? noProblem} />
        {isPresent && <p class="hint">{text.presentStaysHint}</p>}
      </details>
      <StageMoves name={name} index={index} list={list} isPresent={isPresent} />
    </li>
  );
}

function StageMoves(props: Pick<EntryProps, "index" | "list" | "isPresent"> & { readonly name: string }) {
  const { name, index, list, isPresent } = props;
  const count = list.entries.length;
  const button = (visible: string, label: string, disabled: boolean, act: () => void) => (
    <button
      type="button"
      class="plain"
      disabled={disabled}
      aria-label={label}
      onClick={({ currentTarget }) => {
        act();
        // Its stage is moved in the page, and the focus would be lost with it.
        requestAnimationFrame(() => focusMove(currentTarget));
      }}
    >
      {visible}
    </button>
  );
  return (
    <div class="stage-moves">
      {button(text.upLabel, text.moveUpLabel(name), index === 0, () => list.swap(index, -1))}
      {button(text.downLabel, text.moveDownLabel(name), index === count - 1, () => list.swap(index, 1))}
      {!isPresent &&
        count > 1 &&
        button(text.removeShortLabel, text.removeLabel(name), false, () => list.remove(index))}
    </div>
  );
}

/** The button that was pressed; where it does nothing any more, the one beside it; where its stage is gone, the list. */
function focusMove(button: HTMLButtonElement): void {
  const target = button.disabled ? button.parentElement?.querySelector<HTMLElement>("button:enabled") : button;
  if (button.isConnected) target?.focus();
  else document.querySelector<HTMLElement>(".stage-list summary")?.focus();
}

const noProblem: StageProblems = () => undefined;

/** As text that is the same for the same stages, in whatever order their fields came. */
const asText = (stages: readonly StageView[]) =>
  JSON.stringify(stages, (_, part: unknown) =>
    typeof part === "object" && part !== null && !Array.isArray(part)
      ? Object.fromEntries(Object.entries(part).sort(([one], [other]) => one.localeCompare(other)))
      : part,
  );
