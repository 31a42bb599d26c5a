import { useId } from "preact/hooks";
import { deleteSummary } from "#text/forms.ts";
import * as text from "#text/stillsScreen.ts";
import type { YardView } from "../../server/contract/api.ts";
import type { StillsView, StillView } from "../../server/contract/stillView.ts";
import { stillApi, stillUrl } from "../api/stillApi.ts";
import { announce } from "../state/announcement.ts";
import { timeText } from "../text/clock.ts";
import { Field, FormError, useFormSubmit } from "./field.tsx";
import { smallSize } from "./smallSize.ts";
import { stillNameOf } from "./stillPicture.tsx";

/** What a change makes of the page: the newest stills, and this one as it is now; null: it is deleted. */
type StillChanged = (newest: StillsView, id: string, still: StillView | null) => void;

interface StillProps {
  readonly still: StillView;
  readonly yard: YardView;
  readonly changed: StillChanged;
  /** The labels that were used before. */
  readonly known: Pick<StillsView, "who" | "brought">;
}

/** A still, small; it opens the large one. Below it what is known of it, and what can be done with it. */
export function StillEntry(props: StillProps) {
  const { still, yard } = props;
  const name = nameOf(still, yard.zone);
  const about = [timeText(still.at, yard.zone), still.feeder.name, eventOf(still)];
  if (still.payment !== null) about.push(text.paymentText[still.payment]);
  const labels = [still.who, still.brought].filter((label) => label !== null);
  return (
    <li>
      <a href={stillUrl(yard.id, still.id, "full")} target="_blank" rel="noreferrer">
        <img src={stillUrl(yard.id, still.id, "small")} {...smallSize(still)} loading="lazy" alt={name} />
      </a>
      <p class="since">{about.join(" · ")}</p>
      {labels.length > 0 && <p>{labels.join(" · ")}</p>}
      <div class="actions">
        <StarStill {...props} name={name} />
        <LabelStill {...props} name={name} />
        <a href={noteHref(yard.id, still)}>
          {text.addNoteLabel}
          <span class="hidden">{text.starOfText(name)}</span>
        </a>
        <DeleteStill {...props} name={name} />
      </div>
    </li>
  );
}

const nameOf = ({ at, event, feeder }: StillView, zone: string): string =>
  stillNameOf({ at, kind: event?.kind ?? null }, feeder.name, zone);

/** The notebook's form, with this still named. */
function noteHref(yard: string, { id, at, event, feeder }: StillView): string {
  const kind = event?.kind ?? "";
  return `/yards/${yard}/notes?${new URLSearchParams({ still: id, at, kind, feeder: feeder.id })}`;
}

function eventOf({ event }: StillView): string {
  if (event === null) return text.noEventText;
  if (!event.known) return text.unknownEventText;
  return text.eventText[event.kind ?? ""] ?? text.otherEventText;
}

type Named = StillProps & { readonly name: string };

function StarStill({ still, yard, changed, name }: Named) {
  const { sending, formError, form, send } = useFormSubmit();
  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const starred = !still.starred;
    const view = await send(() => stillApi.changeStill(yard.id, still.id, { starred }));
    if (view === null) return;
    announce(starred ? text.starredText : text.unstarredText);
    changed(view, still.id, { ...still, starred });
  };
  return (
    <form ref={form} onSubmit={(event) => void submit(event)}>
      <button type="submit" class="plain" aria-pressed={still.starred} disabled={sending}>
        {still.starred ? "★ " : "☆ "}
        {text.starLabel}
        <span class="hidden">{text.starOfText(name)}</span>
      </button>
      <FormError text={formError} />
    </form>
  );
}

function LabelStill({ still, yard, changed, known, name }: Named) {
  const { sending, formError, problems, form, send } = useFormSubmit();
  const id = useId();
  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const typed = new FormData(event.currentTarget as HTMLFormElement);
    const of = (field: "who" | "brought") => String(typed.get(field) ?? "").trim() || null;
    const labels = { who: of("who"), brought: of("brought") };
    const view = await send(() => stillApi.changeStill(yard.id, still.id, labels));
    if (view === null) return;
    announce(text.labelledText);
    changed(view, still.id, { ...still, ...labels });
  };
  return (
    <details>
      <summary>
        {text.labelSummary}
        <span class="hidden">{text.starOfText(name)}</span>
      </summary>
      <form ref={form} onSubmit={(event) => void submit(event)} noValidate>
        <FormError text={formError} />
        {(["who", "brought"] as const).map((field) => (
          <div key={field}>
            <Field
              label={field === "who" ? text.whoLabel : text.broughtLabel}
              problem={problems[field]}
              input={{ name: field, defaultValue: still[field] ?? "", maxLength: 40, list: `${id}-${field}` }}
            />
            <KnownLabels id={`${id}-${field}`} labels={known[field].labels} />
          </div>
        ))}
        <button type="submit" disabled={sending}>
          {text.saveLabel}
        </button>
      </form>
    </details>
  );
}

const KnownLabels = (props: { readonly id: string; readonly labels: readonly { readonly label: string }[] }) => (
  <datalist id={props.id}>
    {props.labels.map(({ label }) => (
      <option key={label} value={label} />
    ))}
  </datalist>
);

/** Asks once before it deletes. */
function DeleteStill({ still, yard, changed, name }: Named) {
  const { sending, formError, form, send } = useFormSubmit();
  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const view = await send(() => stillApi.deleteStill(yard.id, still.id));
    if (view === null) return;
    announce(text.deletedText);
    changed(view, still.id, null);
  };
  return (
    <details>
      <summary>
        {deleteSummary}
        <span class="hidden">{text.starOfText(name)}</span>
      </summary>
      <form ref={form} onSubmit={(event) => void submit(event)} noValidate>
        <FormError text={formError} />
        <p>{text.deleteQuestion}</p>
        <button type="submit" class="danger" disabled={sending}>
          {text.deleteLabel}
        </button>
      </form>
    </details>
  );
}
