import {
  cleanedAction,
  cleanedFeederLabel,
  cleanedLabel,
  cleaningHint,
  cleaningTitle,
  lastCleanedText,
  notCleanedText,
} from "#text/digestScreen.ts";
import type { FeederView, YardView } from "../../server/contract/api.ts";
import { paths } from "../api/api.ts";
import { QueuedActionNote } from "../components/queuedActionNote.tsx";
import { performOnFeeder, queuedActions } from "../state/actions.ts";
import { now } from "../state/clock.ts";
import { momentText } from "../text/clock.ts";

/** On the digest screen, since the digest reminds of it. */
export function CleaningSection({ yard }: { readonly yard: YardView }) {
  if (yard.feeders.length === 0) return null;
  return (
    <section class="cleaning" aria-labelledby="cleaning-title">
      <h2 id="cleaning-title">{cleaningTitle}</h2>
      <ul class="entry-list">
        {yard.feeders.map((feeder) => (
          <CleaningEntry key={feeder.id} feeder={feeder} zone={yard.zone} />
        ))}
      </ul>
      <p class="hint">{cleaningHint}</p>
    </section>
  );
}

function CleaningEntry({ feeder, zone }: { readonly feeder: FeederView; readonly zone: string }) {
  const { id, name, cleanedAt } = feeder;
  const queued = queuedActions.value.filter((action) => action.kind === "cleaned" && action.feeder === id);
  const markCleaned = () =>
    performOnFeeder(feeder, {
      kind: "cleaned",
      path: paths.cleaned(id),
      text: cleanedAction,
      body: (_, at) => ({ at }),
    });
  return (
    <li class="cleaning-entry">
      <p>
        {name}: {cleanedAt === null ? notCleanedText : lastCleanedText(momentText(cleanedAt, now.value, zone))}
      </p>
      {queued.map((action) => (
        <QueuedActionNote key={action.id} action={action} zone={zone} />
      ))}
      <button type="button" aria-label={cleanedFeederLabel(name)} onClick={() => void markCleaned()}>
        {cleanedLabel}
      </button>
    </li>
  );
}
