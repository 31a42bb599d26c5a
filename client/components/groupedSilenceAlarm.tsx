import { useRef, useState } from "preact/hooks";
import { priorityText } from "#text/alarm.ts";
import { acknowledgeLabel } from "#text/common.ts";
import * as text from "#text/groupedSilence.ts";
import type { FeederView, YardView } from "../../server/contract/api.ts";
import { PriorityIcon } from "../charts/icons.tsx";
import { acknowledgeNow } from "../state/acts.ts";
import { now } from "../state/clock.ts";
import { momentText } from "../text/clock.ts";
import { groupedSilenceText, silenceAlarm } from "../text/groupedSilence.ts";
import { findEscalation } from "../text/recipients.ts";
import { AlarmRecipients } from "./alarmRecipients.tsx";

/** Several feeders that stopped reporting together: one cause, so one entry, and one acknowledgement for all of them. */
export function GroupedSilenceAlarm(props: { readonly silent: readonly FeederView[]; readonly yard: YardView }) {
  const { silent, yard } = props;
  const [busy, setBusy] = useState(false);
  const heading = useRef<HTMLHeadingElement>(null);
  const [first] = silent;
  if (first?.lastReportAt == null) return null;
  const open = silent.filter((feeder) => silenceAlarm(feeder)?.state === "unacknowledged");
  const acknowledge = async () => {
    setBusy(true);
    for (const feeder of open) await acknowledgeSilence(feeder);
    setBusy(false);
    heading.current?.focus({ preventScroll: true }); // the button that was pressed is gone
  };
  const lastReport = momentText(first.lastReportAt, now.value, yard.zone);
  return (
    <div class={`alarm urgent grouped-silence ${open.length > 0 ? "unacknowledged" : "acknowledged"}`}>
      <PriorityIcon priority="urgent" />
      <h3 ref={heading} tabIndex={-1}>
        {groupedSilenceText(silent, yard.feeders.length)}
        <span class="priority">{priorityText.urgent}</span>
      </h3>
      <p class="since">
        {open.length === 0 ? text.lastReportAcknowledgedText(lastReport) : text.lastReportText(lastReport)}
      </p>
      <p>{text.causeText}</p>
      <p class="advice">{text.adviceText}</p>
      <AlarmRecipients escalation={findEscalation(yard.escalations, null, "feederSilent")} yard={yard} />
      {open.length > 0 && (
        <div class="actions">
          <button type="button" disabled={busy} onClick={() => void acknowledge()}>
            {acknowledgeLabel}
          </button>
        </div>
      )}
    </div>
  );
}

async function acknowledgeSilence(feeder: FeederView): Promise<void> {
  const alarm = silenceAlarm(feeder);
  if (alarm !== undefined) await acknowledgeNow(feeder, alarm);
}
