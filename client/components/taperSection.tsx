import { useEffect, useRef } from "preact/hooks";
import * as text from "#text/taperSection.ts";
import type { FeederView, PlanView } from "../../server/contract/api.ts";
import type { FeedingRequest } from "../../server/contract/feedingRequest.ts";
import { laterApi } from "../api/laterApi.ts";
import { announce } from "../state/announcement.ts";
import { now } from "../state/clock.ts";
import { acceptFeeder } from "../state/home.ts";
import { capitalize } from "../text/amount.ts";
import { dayText, localDate, shiftDate } from "../text/clock.ts";
import { Field, FormError, NumberField, readNumber, readText, useFormSubmit } from "./field.tsx";

interface TaperProps {
  readonly feeder: FeederView;
  readonly rules: FeedingRequest;
  readonly zone: string;
  readonly onPreview: (plan: PlanView | null) => void;
}

/** The end of feeding, day by day: a keeper who only stops leaves birds without what they have come to count on. */
export function TaperSection(props: TaperProps) {
  const { taper } = props.rules;
  const section = useRef<HTMLElement>(null);
  // The plan above it is loaded after the page, so that the browser's own jump would miss it.
  useEffect(() => {
    if (location.hash === "#taper") section.current?.scrollIntoView({ block: "start" });
  }, []);
  return (
    <section ref={section} class="plan-taper" aria-labelledby="taper-title">
      <h2 id="taper-title">{text.title}</h2>
      {taper === undefined ? <TaperForm {...props} /> : <RunningTaper {...props} taper={taper} />}
      <p class="hint">{text.cautionText}</p>
    </section>
  );
}

const usualDays = 14;

function TaperForm({ feeder, rules, zone, onPreview }: TaperProps) {
  const { sending, problems, formError, form, send } = useFormSubmit();
  const read = (): FeedingRequest => {
    const data = new FormData(form.current as HTMLFormElement);
    return { ...rules, taper: { from: readText(data, "from"), days: readNumber(data, "days") as number } };
  };
  const save = async (event: SubmitEvent) => {
    event.preventDefault();
    const changed = await send(() => laterApi.changeFeeder(feeder.id, { feeding: read() }));
    if (changed === null) return;
    acceptFeeder(changed);
    onPreview(null);
    announce(text.startedText);
  };
  const preview = async () => {
    const planned = await send(() => laterApi.planPreview(feeder.id, read()));
    if (planned === null) return;
    onPreview(planned);
    document.getElementById("plan-days")?.scrollIntoView({ block: "start" });
  };
  const problem = (field: string) => problems[`feeding.taper.${field}`] ?? problems[`taper.${field}`];
  return (
    <form ref={form} onSubmit={(event) => void save(event)} noValidate>
      <p>{text.offerText}</p>
      <FormError text={formError} />
      <TaperFields zone={zone} problem={problem} />
      <div class="actions">
        <button type="submit" disabled={sending}>
          {text.startLabel}
        </button>
        <button type="button" disabled={sending} onClick={() => void preview()}>
          {text.previewLabel}
        </button>
      </div>
    </form>
  );
}

const TaperFields = (props: { readonly zone: string; readonly problem: (field: string) => string | undefined }) => (
  <>
    <Field
      label={text.fromLabel}
      problem={props.problem("from")}
      input={{ name: "from", type: "date", defaultValue: shiftDate(localDate(now.value, props.zone), 1) }}
    />
    <NumberField
      {...{ name: "days", label: text.daysLabel, unit: text.daysUnit, min: 7, max: 28, whole: true }}
      problem={props.problem("days")}
      value={usualDays}
    />
  </>
);

function RunningTaper(props: TaperProps & { readonly taper: NonNullable<FeedingRequest["taper"]> }) {
  const { feeder, rules, zone, taper, onPreview } = props;
  const { sending, formError, send } = useFormSubmit();
  const withdraw = async () => {
    const { taper: _, ...usual } = rules;
    const changed = await send(() => laterApi.changeFeeder(feeder.id, { feeding: usual }));
    if (changed === null) return;
    acceptFeeder(changed);
    onPreview(null);
    announce(text.withdrawnText);
  };
  const today = localDate(now.value, zone);
  const last = shiftDate(taper.from, taper.days - 1);
  const [begin, end] = [dayText(taper.from, today), dayText(last, today)];
  return (
    <>
      <p>{last < today ? text.endedText(end) : capitalize(text.runningText(begin, end))}</p>
      <FormError text={formError} />
      <button type="button" disabled={sending} onClick={() => void withdraw()}>
        {text.withdrawLabel}
      </button>
    </>
  );
}
