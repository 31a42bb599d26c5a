import type { FeederView, YardView } from "../../server/contract/api.ts";
import { HopperIcon } from "../charts/hopperIcon.tsx";
import { PriorityIcon } from "../charts/icons.tsx";
import { GroupedSilenceAlarm } from "../components/groupedSilenceAlarm.tsx";
import { PauseAllControl } from "../components/pauseAllControl.tsx";
import { PracticeTag } from "../components/practiceTag.tsx";
import { ReachabilityNotice } from "../components/reachabilityNotice.tsx";
import { Screen } from "../components/screen.tsx";
import { ZoneNotice } from "../components/zoneNotice.tsx";
import { now } from "../state/clock.ts";
import { connectionState, home, homeError, yards } from "../state/home.ts";
import { highestPriority, priorityText, sortByUrgency, urgencyRank } from "../text/alarm.ts";
import { feederSentence, type PageState } from "../text/feeder.ts";
import { groupedSilentFeeders } from "../text/groupedSilence.ts";
import { type FeederOrderText, feederOrderTexts } from "../text/yardOrder.ts";

/** All yards and feeders, one sentence each, the most urgent first. */
export function HomeScreen() {
  if (home.value === null) {
    const isOpening = homeError.value === null && connectionState.value !== "offline";
    return (
      <Screen title="Feeders">
        <p class={isOpening ? "empty opening" : "empty"}>
          {homeError.value ??
            (connectionState.value === "offline"
              ? "Nothing can be shown until the server has been reached once."
              : "Opening the notebook…")}
        </p>
      </Screen>
    );
  }
  const sorted = [...yards.value].sort(
    (one, other) => Number(one.practice) - Number(other.practice) || yardUrgency(one) - yardUrgency(other),
  );
  // A helper answers, pauses and refills; what would only be refused isn't offered.
  const mayAdd = sorted.some((yard) => yard.role === "keeper" && !yard.practice);
  return (
    <Screen title="Feeders">
      <ReachabilityNotice />
      {sorted.length === 0 && (
        <p class="empty">
          You belong to no yard. <a href="/yards/new">Make one</a>, or ask a keeper for an invitation.
        </p>
      )}
      {sorted.map((yard) => (
        <YardEntry key={yard.id} yard={yard} />
      ))}
      {mayAdd && (
        <p class="answers">
          <a class="button" href="/feeders/new">
            Add a feeder
          </a>
        </p>
      )}
    </Screen>
  );
}

const yardUrgency = (yard: YardView) => Math.min(9, ...yard.feeders.map(urgencyRank));

function YardEntry({ yard }: { readonly yard: YardView }) {
  const silent = groupedSilentFeeders(yard);
  const page = {
    now: now.value,
    asOf: home.value?.asOf ?? now.value,
    connection: connectionState.value,
    zone: yard.zone,
  };
  const feeders = sortByUrgency(yard.feeders);
  const orders = feederOrderTexts(feeders, page);
  const of = <span class="hidden"> {yard.name}</span>; // two yards have two links of one name else
  return (
    <section class={`yard${yard.practice ? " practice" : ""}`} aria-labelledby={`yard-${yard.id}`}>
      <div class="yard-head">
        <h2 id={`yard-${yard.id}`}>
          {yard.name}
          {yard.practice && <PracticeTag />}
        </h2>
        <span class="yard-links">
          {yard.digestWanted && <a href={`/yards/${yard.id}/digest`}>Digest{of}</a>}
          <a href={`/yards/${yard.id}`}>The yard{of}</a>
        </span>
      </div>
      <ZoneNotice yard={yard} />
      {yard.damagedFeeders.map(({ id, text }) => (
        <p key={id} class="notice worry">
          {text}
        </p>
      ))}
      {feeders.length > 0 && <PauseAllControl yard={yard} page={page} />}
      {silent.length > 0 && <GroupedSilenceAlarm silent={silent} yard={yard} />}
      {yard.feeders.length === 0 && yard.damagedFeeders.length === 0 ? (
        <p class="empty">
          No feeder reports from here yet.{" "}
          {yard.role === "keeper" && (
            <>
              <a href="/feeders/new">Add the first</a>
              {", or "}
            </>
          )}
          <a href="/practice">{yard.role === "keeper" ? "try" : "Try"} a practice feeder</a>.
        </p>
      ) : (
        <ul class="feeders">
          {feeders.map((feeder, index) => (
            <FeederEntry
              key={feeder.id}
              feeder={feeder}
              page={page}
              order={orders[index] ?? null}
              told={silent.includes(feeder)}
            />
          ))}
        </ul>
      )}
    </section>
  );
}

/** `told`: what calls here is said above, for the whole yard. */
function FeederEntry(props: {
  readonly feeder: FeederView;
  readonly page: PageState;
  readonly order: FeederOrderText | null;
  readonly told: boolean;
}) {
  const { feeder, page, order, told } = props;
  const call = told ? null : highestPriority(feeder);
  return (
    <li class={`feeder-entry${call === null ? "" : ` ${call}`}`}>
      <HopperIcon hopper={feeder.hopper} />
      <h3>
        <a href={`/feeders/${feeder.id}`}>{feeder.name}</a>
        {feeder.practice && <PracticeTag />}
        {call !== null && (
          <span class={`call ${call}`}>
            <PriorityIcon priority={call} /> {priorityText[call]}
          </span>
        )}
      </h3>
      <p>{feederSentence(feeder, page)}</p>
      {order !== null && <p class={`order-state${order.needsAttention ? " worry" : ""}`}>{order.text}</p>}
    </li>
  );
}
