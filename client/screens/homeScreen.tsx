import { feedersTitle, loadingText, nothingStoredText } from "#text/common.ts";
import { addFeederLabel, noFeedersHelperText, noFeedersText, noYardText, yardSettingsLabel } from "#text/homeScreen.ts";
import type { YardView } from "../../server/contract/api.ts";
import { VerdictIcon } from "../charts/icons.tsx";
import { DiseaseNotice } from "../components/diseaseNotice.tsx";
import { FeederRow } from "../components/feederRow.tsx";
import { GroupedSilenceAlarm } from "../components/groupedSilenceAlarm.tsx";
import { LinkedText } from "../components/linkedText.tsx";
import { PauseAllControl } from "../components/pauseAllControl.tsx";
import { PracticeTag } from "../components/practiceTag.tsx";
import { ReachabilityNotice } from "../components/reachabilityNotice.tsx";
import { Screen } from "../components/screen.tsx";
import { ZoneNotice } from "../components/zoneNotice.tsx";
import { now } from "../state/clock.ts";
import { connectionState, home, homeError, yards } from "../state/home.ts";
import { sortByUrgency, urgencyRank } from "../text/alarm.ts";
import type { PageState } from "../text/feeder.ts";
import { groupedSilentFeeders } from "../text/groupedSilence.ts";
import { type HomeVerdict, homeVerdict } from "../text/homeVerdict.ts";
import { feederOrderTexts } from "../text/yardOrder.ts";

/** Whether all is well, then all yards and feeders, a row each, the most urgent first. */
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
  const verdict = homeVerdict(sorted, pageState(sorted[0]?.zone ?? "UTC"));
  return (
    <Screen title={feedersTitle} isTitleHidden={verdict !== null} wide>
      {verdict !== null && <Verdict verdict={verdict} />}
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

const pageState = (zone: string): PageState => ({
  now: now.value,
  asOf: home.value?.asOf ?? now.value,
  connection: connectionState.value,
  zone,
});

/** Read first, from across the room. */
const Verdict = ({ verdict: { title, detail, kind } }: { readonly verdict: HomeVerdict }) => (
  <p class={`verdict ${kind}`}>
    <VerdictIcon kind={kind} />
    <strong>{title}</strong>
    {detail !== "" && <span>{detail}</span>}
  </p>
);

const yardUrgency = (yard: YardView) => Math.min(9, ...yard.feeders.map(urgencyRank));

/** With more of them rows are lower, so that thirty fit on two screens of a phone. */
const roomyMax = 8;

function YardEntry({ yard }: { readonly yard: YardView }) {
  const silent = groupedSilentFeeders(yard);
  const page = pageState(yard.zone);
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
        <ul class={feeders.length > roomyMax ? "feeders many" : "feeders"}>
          {feeders.map((feeder, index) => (
            <FeederRow
              key={feeder.id}
              feeder={feeder}
              yard={yard}
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

function YardHead({ yard: { id, name, practice } }: { readonly yard: YardView }) {
  const ofYard = <span class="hidden"> {name}</span>; // without it two yards have links of the same name
  return (
    <div class="yard-head">
      <h2 id={`yard-${id}`}>
        {name}
        {practice && <PracticeTag />}
      </h2>
      <span class="yard-links">
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
