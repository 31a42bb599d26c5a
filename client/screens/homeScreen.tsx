import { feedersTitle, loadingText, nothingStoredText } from "#text/common.ts";
import {
  addFeederLabel,
  digestLabel,
  noFeedersHelperText,
  noFeedersText,
  noYardText,
  trainingLabel,
  yardSettingsLabel,
} from "#text/homeScreen.ts";
import type { FeederView, YardView } from "../../server/contract/api.ts";
import { HopperIcon } from "../charts/hopperIcon.tsx";
import { PriorityIcon } from "../charts/icons.tsx";
import { DiseaseNotice } from "../components/diseaseNotice.tsx";
import { GroupedSilenceAlarm } from "../components/groupedSilenceAlarm.tsx";
import { LinkedText } from "../components/linkedText.tsx";
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
    const isOffline = connectionState.value === "offline";
    return (
      <Screen title={feedersTitle}>
        <p class={homeError.value === null && !isOffline ? "empty first-load" : "empty"}>
          {homeError.value ?? (isOffline ? nothingStoredText : loadingText)}
        </p>
      </Screen>
    );
  }
  const sorted = [...yards.value].sort(
    (one, other) => Number(one.practice) - Number(other.practice) || yardUrgency(one) - yardUrgency(other),
  );
  // The server refuses a helper's new feeder, so it isn't offered.
  const mayAdd = sorted.some((yard) => yard.role === "keeper" && !yard.practice);
  return (
    <Screen title={feedersTitle}>
      <ReachabilityNotice />
      {sorted.length === 0 && (
        <p class="empty">
          <LinkedText text={noYardText} hrefs={["/yards/new"]} />
        </p>
      )}
      {sorted.map((yard) => (
        <YardEntry key={yard.id} yard={yard} />
      ))}
      {mayAdd && (
        <p class="actions">
          <a class="button" href="/feeders/new">
            {addFeederLabel}
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
  return (
    <section class={`yard${yard.practice ? " practice" : ""}`} aria-labelledby={`yard-${yard.id}`}>
      <YardHead yard={yard} />
      <ZoneNotice yard={yard} />
      <DiseaseNotice yard={yard} />
      {yard.damagedFeeders.map(({ id, text }) => (
        <p key={id} class="notice warning">
          {text}
        </p>
      ))}
      {feeders.length > 0 && <PauseAllControl yard={yard} page={page} />}
      {silent.length > 0 && <GroupedSilenceAlarm silent={silent} yard={yard} />}
      {feeders.length === 0 && yard.damagedFeeders.length === 0 ? (
        <NoFeeders isKeeper={yard.role === "keeper"} />
      ) : (
        <ul class="feeders">
          {feeders.map((feeder, index) => (
            <FeederEntry
              key={feeder.id}
              feeder={feeder}
              page={page}
              order={orders[index] ?? null}
              isGrouped={silent.includes(feeder)}
            />
          ))}
        </ul>
      )}
    </section>
  );
}

function YardHead({ yard: { id, name, practice, digestWanted } }: { readonly yard: YardView }) {
  const ofYard = <span class="hidden"> {name}</span>; // without it two yards have links of the same name
  return (
    <div class="yard-head">
      <h2 id={`yard-${id}`}>
        {name}
        {practice && <PracticeTag />}
      </h2>
      <span class="yard-links">
        {digestWanted && (
          <a href={`/yards/${id}/digest`}>
            {digestLabel}
            {ofYard}
          </a>
        )}
        {!practice && (
          <a href={`/yards/${id}/training`}>
            {trainingLabel}
            {ofYard}
          </a>
        )}
        <a href={`/yards/${id}`}>
          {yardSettingsLabel}
          {ofYard}
        </a>
      </span>
    </div>
  );
}

const NoFeeders = ({ isKeeper }: { readonly isKeeper: boolean }) => (
  <p class="empty">
    {isKeeper ? (
      <LinkedText text={noFeedersText} hrefs={["/feeders/new", "/practice"]} />
    ) : (
      <LinkedText text={noFeedersHelperText} hrefs={["/practice"]} />
    )}
  </p>
);

function FeederEntry(props: {
  readonly feeder: FeederView;
  readonly page: PageState;
  readonly order: FeederOrderText | null;
  readonly isGrouped: boolean; // its alarm is shown above, with those of the other feeders
}) {
  const { feeder, page, order, isGrouped } = props;
  const priority = isGrouped ? null : highestPriority(feeder);
  return (
    <li class={`feeder-entry${priority === null ? "" : ` ${priority}`}`}>
      <HopperIcon hopper={feeder.hopper} />
      <h3>
        <a href={`/feeders/${feeder.id}`}>{feeder.name}</a>
        {feeder.practice && <PracticeTag />}
        {priority !== null && (
          <span class={`feeder-priority ${priority}`}>
            <PriorityIcon priority={priority} /> {priorityText[priority]}
          </span>
        )}
      </h3>
      <p>{feederSentence(feeder, page)}</p>
      {order !== null && <p class={`order-state${order.needsAttention ? " warning" : ""}`}>{order.text}</p>}
    </li>
  );
}
