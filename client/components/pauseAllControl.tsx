import { useLayoutEffect, useRef, useState } from "preact/hooks";
import type { FeederView, YardView } from "../../server/contract/api.ts";
import { lastQueuedOrder, type YardAction } from "../offline/actionQueue.ts";
import { performOnYard, queuedActions } from "../state/actions.ts";
import type { PageState } from "../text/feeder.ts";
import { isResumeOffered } from "../text/order.ts";
import { yardOrderSummary } from "../text/yardOrder.ts";
import { QueuedActionNote } from "./queuedActionNote.tsx";

type Kind = YardAction["kind"];

/** Pauses or resumes all feeders of a yard: asked back in place first, since it is much for one tap. */
export function PauseAllControl(props: { readonly yard: YardView; readonly page: PageState }) {
  const { yard, page } = props;
  const [asking, setAsking] = useState<Kind | null>(null);
  const [busy, setBusy] = useState(false);
  const part = useRef<HTMLDivElement>(null);
  const focusNext = useRef<string | null>(null);
  useLayoutEffect(() => {
    if (focusNext.current === null) return; // nobody acted here: focus stays where it is
    const target = part.current?.querySelector<HTMLElement>(focusNext.current);
    if (target == null) return; // comes with a later rendering
    focusNext.current = null;
    target.focus({ preventScroll: true });
  });

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

  const summary = yardOrderSummary(yard.feeders, page);
  const mine = queuedActions.value.filter((act) => "yard" in act && act.yard === yard.id);
  return (
    <div class="yard-order" ref={part}>
      <div class="state" tabIndex={-1}>
        {summary !== null && <p class="summary">{summary}</p>}
        {mine.map((act) => (
          <QueuedActionNote key={act.id} act={act} zone={yard.zone} />
        ))}
      </div>
      {asking === null ? (
        <div class="choices">
          {offeredOrders(yard.feeders).map((kind) => (
            <button key={kind} type="button" class={`plain ${kind}`} onClick={() => ask(kind)}>
              {orderVerbs[kind]} all feeders
              <span class="hidden"> of {yard.name}</span>
            </button>
          ))}
        </div>
      ) : (
        <ConfirmQuestion yard={yard} kind={asking} busy={busy} order={order} leave={leave} />
      )}
    </div>
  );
}

const orderVerbs = { pauseAll: "Pause", resumeAll: "Resume" } as const satisfies Record<Kind, string>;

function ConfirmQuestion(props: {
  readonly yard: YardView;
  readonly kind: Kind;
  readonly busy: boolean;
  readonly order: (kind: Kind) => Promise<void>;
  readonly leave: (kind: Kind) => void;
}) {
  const { yard, kind, busy, order, leave } = props;
  const meant = targetFeeders(kind, yard.feeders);
  const leftOut = yard.feeders.filter((feeder) => !meant.includes(feeder)).map(({ name }) => name);
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
          {orderVerbs[kind]} {feederCountText(meant.length, yard.feeders.length)} of {yard.name}?
        </strong>
      </p>
      <p>
        {kind === "pauseAll"
          ? "Each stops giving food when the order reaches it. Until it confirms, take it that it feeds."
          : "First make sure that nobody has a hand in a feeder."}
        {leftOut.length > 0 && ` Left as it is: ${leftOut.join(", ")}, on the bench or put away.`}
      </p>
      <div class="answers">
        <button type="button" class="main" disabled={busy} onClick={() => void order(kind)}>
          {orderVerbs[kind]} all
        </button>
        <button type="button" disabled={busy} onClick={() => leave(kind)}>
          Not now
        </button>
      </div>
    </div>
  );
}

/** A resume leaves out what is on the bench or put away, as the server does: hands may be in it. */
const targetFeeders = (kind: Kind, feeders: readonly FeederView[]) =>
  kind === "pauseAll" ? feeders : feeders.filter(({ settings }) => (settings.placement ?? "inGarden") === "inGarden");

/** What waits on the phone was asked last. */
function offeredOrders(feeders: readonly FeederView[]): readonly Kind[] {
  const toResume = (feeder: FeederView) => {
    const asked = lastQueuedOrder(feeder.id, queuedActions.value);
    return asked === null ? isResumeOffered(feeder.pause) : asked === "pause";
  };
  const kinds: Kind[] = [];
  if (!feeders.every((feeder) => toResume(feeder) && !isPauseWithEnd(feeder))) kinds.push("pauseAll");
  if (targetFeeders("resumeAll", feeders).some(toResume)) kinds.push("resumeAll");
  return kinds;
}
const isPauseWithEnd = ({ id, pause }: FeederView) =>
  lastQueuedOrder(id, queuedActions.value) === null && pause.order?.kind === "pause" && pause.order.until !== null;

function feederCountText(meant: number, all: number): string {
  if (meant < all) return `${meant} of ${all} feeders`;
  return all === 1 ? "the one feeder" : all === 2 ? "both feeders" : `all ${all} feeders`;
}
