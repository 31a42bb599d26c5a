import type { FeederView, YardView } from "../../server/contract/api.ts";
import { Pennant } from "../drawing/glyphs.tsx";
import { HopperMark } from "../drawing/hopperDrawing.tsx";
import { PracticeTag } from "../parts/practiceTag.tsx";
import { ReachNotice } from "../parts/reachNotice.tsx";
import { Screen } from "../parts/screen.tsx";
import { YardOrder } from "../parts/yardOrder.tsx";
import { YardSilence } from "../parts/yardSilence.tsx";
import { ZoneNotice } from "../parts/zoneNotice.tsx";
import { home, homeProblem, line, yards } from "../state/home.ts";
import { now } from "../state/now.ts";
import { calls, mostUrgentFirst, priorityWords, urgency } from "../words/alarm.ts";
import { feederSentence, type PageAge } from "../words/feeder.ts";
import { type HomeOrderWords, homeOrderWords } from "../words/yardOrder.ts";
import { silentTogether } from "../words/yardSilence.ts";

/** All yards and feeders, one sentence each, the most urgent first. */
export function HomeScreen() {
  if (home.value === null) {
    const isOpening = homeProblem.value === null && line.value !== "cut";
    return (
      <Screen title="Feeders">
        <p class={isOpening ? "empty opening" : "empty"}>
          {homeProblem.value ??
            (line.value === "cut"
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
      <ReachNotice />
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

const yardUrgency = (yard: YardView) => Math.min(9, ...yard.feeders.map(urgency));

function YardEntry({ yard }: { readonly yard: YardView }) {
  const silent = silentTogether(yard);
  const page = { now: now.value, asOf: home.value?.asOf ?? now.value, line: line.value, zone: yard.zone };
  const feeders = mostUrgentFirst(yard.feeders);
  const orders = homeOrderWords(feeders, page);
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
      {yard.damaged.map(({ id, words }) => (
        <p key={id} class="notice worry">
          {words}
        </p>
      ))}
      {feeders.length > 0 && <YardOrder yard={yard} page={page} />}
      {silent.length > 0 && <YardSilence silent={silent} yard={yard} />}
      {yard.feeders.length === 0 && yard.damaged.length === 0 ? (
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
  readonly page: PageAge;
  readonly order: HomeOrderWords | null;
  readonly told: boolean;
}) {
  const { feeder, page, order, told } = props;
  const call = told ? null : calls(feeder);
  return (
    <li class={`feeder-entry${call === null ? "" : ` ${call}`}`}>
      <HopperMark hopper={feeder.hopper} />
      <h3>
        <a href={`/feeders/${feeder.id}`}>{feeder.name}</a>
        {feeder.practice && <PracticeTag />}
        {call !== null && (
          <span class={`call ${call}`}>
            <Pennant priority={call} /> {priorityWords[call]}
          </span>
        )}
      </h3>
      <p>{feederSentence(feeder, page)}</p>
      {order !== null && <p class={`order-state${order.worry ? " worry" : ""}`}>{order.words}</p>}
    </li>
  );
}
