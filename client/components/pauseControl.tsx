import { useRef, useState } from "preact/hooks";
import { staysPausedText } from "#text/diseaseNotice.ts";
import { pauseLabel, pauseUntilResumedAction, pauseUntilResumedLabel } from "#text/order.ts";
import * as text from "#text/pauseControl.ts";
import type { FeederView, YardView } from "../../server/contract/api.ts";
import { paths } from "../api/api.ts";
import { CheckIcon } from "../charts/icons.tsx";
import { lastQueuedOrder, queuedOrders } from "../offline/actionQueue.ts";
import { performOnFeeder, queuedActions } from "../state/actions.ts";
import { now, serverNow } from "../state/clock.ts";
import { timeText } from "../text/clock.ts";
import { isResumeOffered } from "../text/order.ts";
import { feederStateText, type OrderText, orderText } from "../text/orderDetail.ts";
import { QueuedActionNote } from "./queuedActionNote.tsx";

const hourMs = 3_600_000;

/** The one order that a keeper must be able to rely on: how far it has come, and what the feeder itself reports. */
export function PauseControl(props: { readonly feeder: FeederView; readonly yard: YardView }) {
  const { feeder, yard } = props;
  const [busy, setBusy] = useState(false);
  const heading = useRef<HTMLHeadingElement>(null);
  const { order, lost } = feeder.pause;
  const state = order === null ? null : orderText(order, now.value, yard.zone, lost ?? null);

  const request = async (kind: "pause" | "resume", until: string | null, text: string) => {
    setBusy(true);
    await performOnFeeder(feeder, {
      kind,
      path: paths.orders(feeder.id),
      text,
      body: (id) => ({ id, kind, until }),
    });
    setBusy(false);
    heading.current?.focus({ preventScroll: true }); // the button that was pressed is another one now, or gone
  };

  return (
    <section class="pause" aria-labelledby="pause-title">
      <h2 id="pause-title" ref={heading} tabIndex={-1}>
        {pauseLabel}
      </h2>
      <p class="reported-state">{feederStateText(feeder.pause, now.value, yard.zone)}</p>
      {state !== null && <OrderProgress state={state} zone={yard.zone} />}
      {queuedOrders(feeder.id, queuedActions.value).map((each) => (
        <QueuedActionNote key={each.id} action={each} zone={yard.zone} />
      ))}
      <OrderButtons feeder={feeder} mustStay={yard.diseaseNotice !== null} busy={busy} request={request} />
      {yard.role === "keeper" && feeder.settings.feeding != null && (
        <p class="page-link">
          <a href={`/feeders/${feeder.id}/plan#taper`}>{text.taperLabel}</a>
        </p>
      )}
    </section>
  );
}

const OrderProgress = ({ state, zone }: { readonly state: OrderText; readonly zone: string }) => (
  <div class={`order${state.needsAttention ? " warning" : ""}`}>
    <p class="order-head">{state.headline}</p>
    <ol class="stages" aria-label={text.progressLabel}>
      {state.stages.map((stage) => (
        <li key={stage.name} class={stage.isFailed ? "wrong" : stage.isReached ? "reached" : "not-reached"}>
          {stage.isReached && !stage.isFailed && <CheckIcon />}
          {stage.isFailed && (
            <span class="cross" aria-hidden="true">
              ✕
            </span>
          )}
          {stage.name}
          {stage.at !== null && <small> {timeText(stage.at, zone)}</small>}
          {!stage.isReached && <span>{text.notReachedText}</span>}
        </li>
      ))}
    </ol>
    <p class="order-detail">{state.detail}</p>
  </div>
);

function OrderButtons(props: {
  readonly feeder: FeederView;
  /** A bird-disease notice is in force: the server refuses what would end a pause. */
  readonly mustStay: boolean;
  readonly busy: boolean;
  readonly request: (kind: "pause" | "resume", until: string | null, text: string) => Promise<void>;
}) {
  const { feeder, mustStay, busy, request } = props;
  const offers = offersOf(feeder, mustStay);
  if (offers.length === 0) return <p>{staysPausedText}</p>;
  return (
    <div class="actions">
      {offers.map(({ kind, until, label, action }, index) => (
        <button
          key={label}
          type="button"
          class={index === 0 ? "main" : undefined}
          disabled={busy}
          onClick={() => void request(kind, until(), action)}
        >
          {label}
        </button>
      ))}
    </div>
  );
}

interface Offer {
  readonly kind: "pause" | "resume";
  readonly until: () => string | null; // as of the tap
  readonly label: string;
  readonly action: string;
}

const noEnd = () => null;
const untilResumed: Offer = {
  ...{ kind: "pause", until: noEnd },
  ...{ label: pauseUntilResumedLabel, action: pauseUntilResumedAction },
};
const forHour: Offer = {
  ...{ kind: "pause", until: () => new Date(serverNow() + hourMs).toISOString() },
  ...{ label: text.pauseHourLabel, action: text.pauseHourAction },
};
const resumeOffer = ({ status }: FeederView["pause"]): Offer => ({
  ...{ kind: "resume", until: noEnd, action: text.resumeAction },
  label: status.kind === "paused" ? text.resumeFeedingLabel : text.cancelPauseLabel,
});

/** The most likely one first. */
function offersOf({ id, pause }: FeederView, mustStay: boolean): readonly Offer[] {
  const queued = lastQueuedOrder(id, queuedActions.value); // newer than what the server knows
  const isPausing = queued === null ? isResumeOffered(pause) : queued === "pause";
  const hasEnd = pause.order?.until != null && pause.order.kind === "pause";
  if (mustStay) return isPausing && !hasEnd ? [] : [untilResumed];
  if (!isPausing) return [untilResumed, forHour];
  return hasEnd ? [resumeOffer(pause), untilResumed] : [resumeOffer(pause)];
}
