import { useLocation } from "preact-iso";
import { loadingText } from "#text/common.ts";
import {
  asOfMorningText,
  daysLabel,
  digestOffText,
  nextDigestText,
  notFoundTitle,
  notOnPhoneText,
  settingsLabel,
  summaryText,
  title,
} from "#text/digestScreen.ts";
import { yardNotFoundText } from "#text/screens.ts";
import type { DigestView, YardView } from "../../server/contract/api.ts";
import { Screen } from "../components/screen.tsx";
import { useLoad } from "../components/useLoad.ts";
import { now } from "../state/clock.ts";
import { digestError, findDigest, loadDigest } from "../state/digests.ts";
import { connectionState, yards } from "../state/home.ts";
import { capitalize } from "../text/amount.ts";
import { dayText, localDate } from "../text/clock.ts";
import { CleaningSection } from "./cleaningSection.tsx";
import { backToFeeders, notFoundScreen } from "./notFound.tsx";

/** A yard's day as text on one page, and the digests of earlier days. */
export function DigestScreen(props: { readonly id: string }) {
  const { query } = useLocation();
  const date = query.date ?? null;
  useLoad(() => loadDigest(props.id, date), [props.id, date]);
  const yard = yards.value.find((each) => each.id === props.id);
  if (yard === undefined) return notFoundScreen(notFoundTitle, yardNotFoundText);
  const digest = findDigest(yard.id, date);
  return (
    <Screen title={title(yard.name)} practice={yard.practice} back={backToFeeders} wide>
      {digest === null ? <p class="empty">{missingText(yard)}</p> : <DigestPage digest={digest} yard={yard} />}
      <CleaningSection yard={yard} />
      <p class="page-link">
        <a href={`/yards/${yard.id}`}>{settingsLabel}</a>
      </p>
    </Screen>
  );
}

/** Why no digest can be shown. */
function missingText({ digestWanted, digestTime }: YardView): string {
  if (connectionState.value === "offline") return notOnPhoneText;
  if (digestError.value === null) return loadingText;
  return `${digestError.value} ${digestWanted ? nextDigestText(digestTime) : digestOffText}`;
}

interface DigestProps {
  readonly digest: DigestView;
  readonly yard: YardView;
}

function DigestPage({ digest, yard }: DigestProps) {
  const today = localDate(now.value, yard.zone);
  return (
    <>
      <p class="digest-summary">{summaryText(capitalize(dayText(digest.date, today)), digest.summary)}</p>
      {/* "Today" in the digest means the day on which it was written. */}
      {digest.date !== today && <p class="since">{asOfMorningText}</p>}
      <DigestSections digest={digest} yard={yard} />
      {digest.dates.length > 1 && (
        <nav class="digest-dates" aria-label={daysLabel}>
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

const DigestSections = ({ digest, yard }: DigestProps) => (
  <div class="digest-sections">
    {digest.sections.map(({ heading, lines, links }, place) => (
      <section key={heading} class={place === 0 ? "first" : undefined} aria-labelledby={`digest-${place}`}>
        <h2 id={`digest-${place}`}>{heading}</h2>
        <ul>
          {lines.map((line, row) => (
            <li key={line}>
              {place === 0 ? <DigestTask text={line} href={linkWithinPage(links?.[row] ?? null, yard)} /> : line}
            </li>
          ))}
        </ul>
      </section>
    ))}
  </div>
);

/** What is done further down on this page needs no new page. */
const linkWithinPage = (link: string | null, yard: YardView) =>
  link?.startsWith(`/yards/${encodeURIComponent(yard.id)}/digest#`) ? link.slice(link.indexOf("#")) : link;

/** The first sentence names the problem and links to the page where it is solved; the rest is advice. */
function DigestTask({ text, href }: { readonly text: string; readonly href: string | null }) {
  const end = text.indexOf(". ");
  const first = <strong>{end < 0 ? text : text.slice(0, end + 1)}</strong>;
  return (
    <>
      {href === null ? first : <a href={href}>{first}</a>}
      {end < 0 ? "" : text.slice(end + 1)}
    </>
  );
}
