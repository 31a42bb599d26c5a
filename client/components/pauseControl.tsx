import { useRef, useState } from "preact/hooks";
import type { FeederView, YardView } from "../../server/contract/api.ts";
import { paths } from "../api/api.ts";
import { CheckIcon } from "../charts/icons.tsx";
import { lastQueuedOrder, queuedOrders } from "../offline/actionQueue.ts";
import { performOnFeeder, queuedActions } from "../state/actions.ts";
import { now, serverNow } from "../state/clock.ts";
import { timeText } from "../text/clock.ts";
import { feederStateText, isResumeOffered, orderText } from "../text/order.ts";
import { QueuedActionNote } from "./queuedActionNote.tsx";

const hourMs = 3_600_000;

/** The one order that must be trusted: what was asked, how far it has come, and what the feeder itself says. */
export function PauseControl(props: { readonly feeder: FeederView; readonly yard: YardView }) {
  const { feeder, yard } = props;
  const [busy, setBusy] = useState(false);
  const heading = useRef<HTMLHeadingElement>(null);
  const { order } = feeder.pause;
  const words = order === null ? null : orderText(order, now.value, yard.zone, feeder.pause.lost ?? null);
  const mine = queuedOrders(feeder.id, queuedActions.value);

  const ask = async (kind: "pause" | "resume", until: string | null, said: string) => {
    setBusy(true);
    await performOnFeeder(feeder, {
      kind,
      path: paths.orders(feeder.id),
      text: said,
      body: (id) => ({ id, kind, until }),
    });
    setBusy(false);
    heading.current?.focus({ preventScroll: true }); // the button that was pressed is another one now, or gone
  };
  const pauseAnHour = () => ask("pause", new Date(serverNow() + hourMs).toISOString(), "pause for 1 hour");
  // What waits on the phone was asked last.
  const asked = lastQueuedOrder(feeder.id, queuedActions.value);
  const resume = asked === null ? isResumeOffered(feeder.pause) : asked === "pause";

  return (
    <section class="pause" aria-labelledby="pause-title">
      <h2 id="pause-title" ref={heading} tabIndex={-1}>
        Pause
      </h2>
      <p class="feeder-says">{feederStateText(feeder.pause, now.value, yard.zone)}</p>
      {words !== null && order !== null && (
        <div class={`order${words.needsAttention ? " worry" : ""}`}>
          <p class="order-head">{words.headline}</p>
          <ol class="stages" aria-label="How far the order has come">
            {words.stages.map((stage) => (
              <li key={stage.name} class={stage.isFailed ? "wrong" : stage.isReached ? "reached" : "to-come"}>
                {stage.isReached && !stage.isFailed && <CheckIcon />}
                {stage.isFailed && (
                  <span class="cross" aria-hidden="true">
                    ✕
                  </span>
                )}
                {stage.name}
                {stage.at !== null && <small> {timeText(stage.at, yard.zone)}</small>}
                {!stage.isReached && <span>: not yet</span>}
              </li>
            ))}
          </ol>
          <p class="order-detail">{words.detail}</p>
        </div>
      )}
      {mine.map((each) => (
        <QueuedActionNote key={each.id} act={each} zone={yard.zone} />
      ))}
      <div class="answers">
        {resume ? (
          <>
            <button
              type="button"
              class="main"
              disabled={busy}
              onClick={() => void ask("resume", null, "resume feeding")}
            >
              {feeder.pause.status.kind === "paused" ? "Resume feeding" : "Take the pause back"}
            </button>
            {order?.until != null && order.kind === "pause" && (
              <button type="button" disabled={busy} onClick={() => void ask("pause", null, "pause until resumed")}>
                Pause until resumed
              </button>
            )}
          </>
        ) : (
          <>
            <button
              type="button"
              class="main"
              disabled={busy}
              onClick={() => void ask("pause", null, "pause until resumed")}
            >
              Pause until resumed
            </button>
            <button type="button" disabled={busy} onClick={() => void pauseAnHour()}>
              Pause for 1 hour
            </button>
          </>
        )}
      </div>
    </section>
  );
}
