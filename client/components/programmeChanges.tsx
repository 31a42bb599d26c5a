import * as text from "#text/programmeScreen.ts";
import type { YardView } from "../../server/contract/api.ts";
import type { ChangeEffectView, ProgrammeChangeView, TrainingView } from "../../server/contract/trainingView.ts";
import { laterApi } from "../api/laterApi.ts";
import { announce } from "../state/announcement.ts";
import { now } from "../state/clock.ts";
import { acceptTraining } from "../state/training.ts";
import { capitalize } from "../text/amount.ts";
import { dayAndTimeText } from "../text/clock.ts";
import { pointsText, shareText } from "../text/training.ts";
import { FormError, useFormSubmit } from "./field.tsx";

const changesShown = 8;

/** What was changed and why, the newest first, with what the birds did before and after; and how to undo it. */
export function ProgrammeChanges({ view, yard }: { readonly view: TrainingView; readonly yard: YardView }) {
  const older = view.changes.slice(changesShown);
  return (
    <section aria-labelledby="changes-title">
      <h2 id="changes-title">{text.changesTitle}</h2>
      {view.changes.length === 0 && <p class="empty">{text.noChangesText}</p>}
      <ChangeList changes={view.changes.slice(0, changesShown)} view={view} yard={yard} />
      {older.length > 0 && (
        <details>
          <summary>{text.moreChangesLabel(older.length)}</summary>
          <ChangeList changes={older} view={view} yard={yard} />
        </details>
      )}
    </section>
  );
}

const ChangeList = (props: {
  readonly changes: readonly ProgrammeChangeView[];
  readonly view: TrainingView;
  readonly yard: YardView;
}) => (
  <ul class="entry-list programme-changes">
    {props.changes.map((change) => (
      <Change
        key={change.id}
        change={change}
        effect={props.view.effects.find((effect) => effect.change === change.id) ?? null}
        yard={props.yard}
      />
    ))}
  </ul>
);

function Change(props: {
  readonly change: ProgrammeChangeView;
  readonly effect: ChangeEffectView | null;
  readonly yard: YardView;
}) {
  const { change, effect, yard } = props;
  const momentOf = (at: string) => dayAndTimeText(at, now.value, yard.zone);
  return (
    <li class={change.undone === null ? undefined : "undone"}>
      <p class="since">{text.changeBy(capitalize(momentOf(change.at)), change.by)}</p>
      <p>
        <strong>{change.text}</strong>
      </p>
      <p>{change.reason}</p>
      {effect !== null && <p class="since">{effectText(effect)}</p>}
      {change.undone !== null && <p class="since">{text.undoneText(momentOf(change.undone.at), change.undone.by)}</p>}
      {change.undone === null && yard.role === "keeper" && <UndoChange change={change} yard={yard} />}
    </li>
  );
}

const effectText = ({ before, after, difference, limits }: ChangeEffectView) =>
  text.effectText(
    shareText(before),
    shareText(after),
    pointsText(difference),
    pointsText(limits.low),
    pointsText(limits.high),
  );

function UndoChange({ change, yard }: { readonly change: ProgrammeChangeView; readonly yard: YardView }) {
  const { sending, formError, send } = useFormSubmit();
  const undo = async () => {
    const view = await send(() => laterApi.undoProgrammeChange(yard.id, change.id));
    if (view === null) return;
    acceptTraining(view);
    announce(text.undidText);
  };
  return (
    <details>
      <summary aria-label={text.undoSummary(change.text)}>{text.undoLabel}</summary>
      <p class="hint">{text.undoHint}</p>
      <FormError text={formError} />
      <div class="actions">
        <button type="button" disabled={sending} onClick={() => void undo()}>
          {text.undoLabel}
        </button>
      </div>
    </details>
  );
}
