import { useLocation } from "preact-iso";
import type { DigestView, FeederView, YardView } from "../../server/contract/api.ts";
import { paths } from "../api/api.ts";
import { QueuedActionNote } from "../components/queuedActionNote.tsx";
import { Screen } from "../components/screen.tsx";
import { useLoad } from "../components/useLoad.ts";
import { performOnFeeder, queuedActions } from "../state/actions.ts";
import { now } from "../state/clock.ts";
import { digestError, findDigest, loadDigest } from "../state/digests.ts";
import { connectionState, home, yards } from "../state/home.ts";
import { capitalize } from "../text/amount.ts";
import { dayText, localDate, momentText } from "../text/clock.ts";

/** A yard's day in words on one page, and those of the days before it. */
export function DigestScreen(props: { readonly id: string }) {
  const { query } = useLocation();
  const date = query.date ?? null;
  useLoad(() => loadDigest(props.id, date), [props.id, date]);
  const yard = yards.value.find((each) => each.id === props.id);
  if (yard === undefined) {
    return (
      <Screen title="Digest" back={{ href: "/", name: "Feeders" }}>
        <p class="empty">
          {home.value === null && connectionState.value !== "offline"
            ? "Opening the notebook…"
            : "This yard isn't known on this phone."}
        </p>
      </Screen>
    );
  }
  const digest = findDigest(yard.id, date);
  return (
    <Screen title={yard.name} practice={yard.practice} back={{ href: "/", name: "Feeders" }} wide>
      {digest === null ? <MissingDigest yard={yard} /> : <DigestPage digest={digest} yard={yard} />}
      <CleaningSection yard={yard} />
      <p class="elsewhere">
        <a href={`/yards/${yard.id}`}>When it comes</a>
      </p>
    </Screen>
  );
}

/** None that could be shown: written yet, of that date, or on this phone. */
const MissingDigest = ({ yard }: { readonly yard: YardView }) => (
  <p class="empty">
    {connectionState.value === "offline"
      ? "This one isn't on this phone, and the server can't be reached."
      : digestError.value === null
        ? "Turning the page…"
        : yard.digestWanted
          ? `${digestError.value} The next one comes at ${yard.digestTime}.`
          : `${digestError.value} None is written for this yard.`}
  </p>
);

function DigestPage({ digest, yard }: { readonly digest: DigestView; readonly yard: YardView }) {
  const today = localDate(now.value, yard.zone);
  return (
    <>
      <p class="digest-gist">
        {capitalize(dayText(digest.date, today))}: {digest.summary}
      </p>
      {/* "Today" in what follows means the day on which it was written. */}
      {digest.date !== today && <p class="since">As it was told that morning.</p>}
      <div class="digest-sections">
        {digest.sections.map(({ heading, lines, links }, place) => (
          <section key={heading} class={place === 0 ? "first" : undefined} aria-labelledby={`digest-${place}`}>
            <h2 id={`digest-${place}`}>{heading}</h2>
            <ul>
              {lines.map((words, row) => (
                <li key={words}>
                  {place === 0 ? (
                    <DigestTask words={words} opens={linkWithinPage(links?.[row] ?? null, yard)} />
                  ) : (
                    words
                  )}
                </li>
              ))}
            </ul>
          </section>
        ))}
      </div>
      {digest.dates.length > 1 && (
        <nav class="digest-dates" aria-label="Digests by day">
          {digest.dates.map((date) => (
            <a
              key={date}
              href={`/yards/${yard.id}/digest?date=${date}`}
              aria-current={date === digest.date ? "page" : undefined}
            >
              {capitalize(dayText(date, today))}
            </a>
          ))}
        </nav>
      )}
    </>
  );
}

/** Said here, since the digest asks for it. */
function CleaningSection({ yard }: { readonly yard: YardView }) {
  if (yard.feeders.length === 0) return null;
  return (
    <section class="cleaning" aria-labelledby="cleaning-title">
      <h2 id="cleaning-title">Cleaned?</h2>
      <ul class="phones">
        {yard.feeders.map((feeder) => (
          <CleaningEntry key={feeder.id} feeder={feeder} zone={yard.zone} />
        ))}
      </ul>
      <p class="hint">
        Once or twice a month, and whenever it looks dirty: old food out, wash, rinse, let it dry. Where the authorities
        have put out a notice on bird flu, follow that first.
      </p>
    </section>
  );
}

function CleaningEntry({ feeder, zone }: { readonly feeder: FeederView; readonly zone: string }) {
  const waits = queuedActions.value.filter((each) => each.kind === "cleaned" && each.feeder === feeder.id);
  const said = () =>
    performOnFeeder(feeder, {
      kind: "cleaned",
      path: paths.cleaned(feeder.id),
      text: "cleaned",
      body: (_, at) => ({ at }),
    });
  return (
    <li class="cleaning-entry">
      <p>
        {feeder.name}:{" "}
        {feeder.cleanedAt === null
          ? "nobody has said so yet."
          : `last ${momentText(feeder.cleanedAt, now.value, zone)}.`}
      </p>
      {waits.map((each) => (
        <QueuedActionNote key={each.id} act={each} zone={zone} />
      ))}
      <button type="button" aria-label={`I cleaned ${feeder.name}`} onClick={() => void said()}>
        I cleaned it
      </button>
    </li>
  );
}

/** What is done further down on this very page is a step down, and no new page. */
const linkWithinPage = (opens: string | null, yard: YardView) =>
  opens?.startsWith(`/yards/${encodeURIComponent(yard.id)}/digest#`) ? opens.slice(opens.indexOf("#")) : opens;

/** What is wrong stands out and leads to where it is done; what to do about it can be read on. */
function DigestTask({ words, opens }: { readonly words: string; readonly opens: string | null }) {
  const end = words.indexOf(". ");
  const first = <strong>{end < 0 ? words : words.slice(0, end + 1)}</strong>;
  return (
    <>
      {opens === null ? first : <a href={opens}>{first}</a>}
      {end < 0 ? "" : words.slice(end + 1)}
    </>
  );
}
