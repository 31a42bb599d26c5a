import { useLayoutEffect, useRef, useState } from "preact/hooks";
import { cancelLabel } from "#text/common.ts";
import * as text from "#text/pauseAllControl.ts";
import type { FeederView, YardView } from "../../server/contract/api.ts";
import { lastQueuedOrder, type YardAction } from "../offline/actionQueue.ts";
import { performOnYard, queuedActions } from "../state/actions.ts";
import type { PageState } from "../text/feeder.ts";
import { isResumeOffered } from "../text/order.ts";
import { yardOrderSummary } from "../text/yardOrder.ts";
import { QueuedActionNote } from "./queuedActionNote.tsx";

type Kind = YardAction["kind"];

/** Pauses or resumes all feeders of a yard. It asks first, since that is much for one tap. */
export function PauseAllControl(props: { readonly yard: YardView; readonly page: PageState }) {
  const { yard, page } = props;
  const [asking, setAsking] = useState<Kind | null>(null);
  const [busy, setBusy] = useState(false);
  const { part, focusNext } = useFocusAfterAction();

  const ask = (kind: Kind) => {
    focusNext.current = "strong";
    setAsking(kind);
  };
  const leave = (kind: Kind) => {
    focusNext.current = `.${kind}`;
    setAsking(null);
  };
  const order = async (kind: Kind) => {
    setBusy(true);
    await performOnYard(yard, kind, targetFeeders(kind, yard.feeders));
    focusNext.current = ".state"; // the button that was pressed is gone
    setBusy(false);
    setAsking(null);
  };

  return (
    <div class="pause-all" ref={part}>
      <OrderSummary yard={yard} page={page} />
      {asking === null ? (
        <div class="choices">
          {offeredOrders(yard).map((kind) => (
            <button key={kind} type="button" class={`plain ${kind}`} onClick={() => ask(kind)}>
              {text.labels[kind]}
              <span class="hidden">{text.ofYardText(yard.name)}</span>
            </button>
          ))}
        </div>
      ) : (
        <ConfirmQuestion yard={yard} kind={asking} busy={busy} order={order} leave={leave} />
      )}
    </div>
  );
}

/** How far the last order has come, and orders that are not sent yet. */
function OrderSummary({ yard, page }: { readonly yard: YardView; readonly page: PageState }) {
  const summary = yardOrderSummary(yard.feeders, page);
  const queued = queuedActions.value.filter((action) => "yard" in action && action.yard === yard.id);
  return (
    <div class="state" tabIndex={-1}>
      {summary !== null && <p class="summary">{summary}</p>}
      {queued.map((action) => (
        <QueuedActionNote key={action.id} action={action} zone={yard.zone} />
      ))}
    </div>
  );
}

/** The button that was pressed is gone after its action, so the focus moves to the element of this selector. */
function useFocusAfterAction() {
  const part = useRef<HTMLDivElement>(null);
  const focusNext = useRef<string | null>(null);
  useLayoutEffect(() => {
    if (focusNext.current === null) return; // no action here: the focus stays where it is
    const target = part.current?.querySelector<HTMLElement>(focusNext.current);
    if (target == null) return; // comes with a later rendering
    focusNext.current = null;
    target.focus({ preventScroll: true });
  });
  return { part, focusNext };
}

function ConfirmQuestion(props: {
  readonly yard: YardView;
  readonly kind: Kind;
  readonly busy: boolean;
  readonly order: (kind: Kind) => Promise<void>;
  readonly leave: (kind: Kind) => void;
}) {
  const { yard, kind, busy, order, leave } = props;
  const targets = targetFeeders(kind, yard.feeders);
  const others = yard.feeders.filter((feeder) => !targets.includes(feeder)).map(({ name }) => name);
  const id = `yard-question-${yard.id}`;
  return (
    // biome-ignore lint/a11y/useSemanticElements: a fieldset would make it a form's part, which it isn't
    <div
      class="question"
      role="group"
      aria-labelledby={id}
      onKeyDown={({ key }) => {
        if (key === "Escape" && !busy) leave(kind);
      }}
    >
      <p>
        <strong id={id} tabIndex={-1}>
          {text.questions[kind](feederCountText(targets.length, yard.feeders.length), yard.name)}
        </strong>
      </p>
      <p>
        {text.warnings[kind]}
        {others.length > 0 && text.notIncludedText(others.join(", "))}
      </p>
      <div class="actions">
        <button type="button" class="main" disabled={busy} onClick={() => void order(kind)}>
          {text.confirmLabels[kind]}
        </button>
        <button type="button" disabled={busy} onClick={() => leave(kind)}>
          {cancelLabel}
        </button>
      </div>
    </div>
  );
}

/** A resume skips feeders in the workshop or in storage, as the server does: somebody may be working on them. */
const targetFeeders = (kind: Kind, feeders: readonly FeederView[]) =>
  kind === "pauseAll" ? feeders : feeders.filter(({ settings }) => (settings.placement ?? "inGarden") === "inGarden");

/** An order that is not sent yet is newer than what the server knows. */
function offeredOrders({ feeders, diseaseNotice }: YardView): readonly Kind[] {
  const canResume = (feeder: FeederView) => {
    const queued = lastQueuedOrder(feeder.id, queuedActions.value);
    return queued === null ? isResumeOffered(feeder.pause) : queued === "pause";
  };
  const kinds: Kind[] = [];
  if (!feeders.every((feeder) => canResume(feeder) && !isPauseWithEnd(feeder))) kinds.push("pauseAll");
  // The server refuses a resume while a notice is in force.
  if (diseaseNotice === null && targetFeeders("resumeAll", feeders).some(canResume)) kinds.push("resumeAll");
  return kinds;
}
const isPauseWithEnd = ({ id, pause }: FeederView) =>
  lastQueuedOrder(id, queuedActions.value) === null && pause.order?.kind === "pause" && pause.order.until !== null;

function feederCountText(count: number, all: number): string {
  if (count < all) return text.someFeedersText(count, all);
  return all === 1 ? text.oneFeederText : all === 2 ? text.bothFeedersText : text.allFeedersText(all);
}
