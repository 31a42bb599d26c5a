import { useState } from "preact/hooks";
import { loadingText } from "#text/common.ts";
import { yardNotFoundText } from "#text/screens.ts";
import * as text from "#text/stillsScreen.ts";
import type { YardView } from "../../server/contract/api.ts";
import type { LabelSharesView, StillsView, StillView } from "../../server/contract/stillView.ts";
import { stillApi } from "../api/stillApi.ts";
import { FormError } from "../components/field.tsx";
import { Screen } from "../components/screen.tsx";
import { StillEntry } from "../components/stillEntry.tsx";
import { useLoad } from "../components/useLoad.ts";
import { now } from "../state/clock.ts";
import { connectionState, updateConnectionState, yards } from "../state/home.ts";
import { keepStills, loadStills, stills, stillsError } from "../state/stills.ts";
import { capitalize } from "../text/amount.ts";
import { daysOf, mergeByMoment } from "../text/byDay.ts";
import { dayText, localDate, momentText } from "../text/clock.ts";
import { shareText } from "../text/training.ts";
import { notFoundScreen } from "./notFound.tsx";

/** What a yard's cameras have sent, by day, the newest first, and what its labels say. */
export function StillsScreen(props: { readonly id: string }) {
  useLoad(() => loadStills(props.id), [props.id]);
  const yard = yards.value.find((each) => each.id === props.id);
  if (yard === undefined) return notFoundScreen(text.title, yardNotFoundText);
  const known = stills.value.get(yard.id);
  const isOffline = connectionState.value === "offline";
  return (
    <Screen title={text.title} practice={yard.practice} back={{ href: `/yards/${yard.id}`, name: yard.name }}>
      {known === undefined ? (
        <p class="empty">{stillsError.value ?? (isOffline ? text.notOnPhoneText : loadingText)}</p>
      ) : (
        <>
          <p class="hint">{text.introText(known.view.keptDays)}</p>
          {isOffline && (
            <p class="hint">{text.asOfText(momentText(new Date(known.asOf).toISOString(), now.value, yard.zone))}</p>
          )}
          {known.view.spaceText !== null && <p class="notice">{known.view.spaceText}</p>}
          <StillPages newest={known.view} yard={yard} />
          <LabelCounts view={known.view} />
        </>
      )}
    </Screen>
  );
}

/** The newest stills, and the older ones that were asked for. */
function StillPages({ newest, yard }: { readonly newest: StillsView; readonly yard: YardView }) {
  const [older, setOlder] = useState<StillsView | null>(null);
  const [problem, setProblem] = useState<string | null>(null);
  const [loading, setLoading] = useState(false);
  const shown = mergeByMoment(older?.stills ?? [], newest.stills);
  const changed = (view: StillsView, id: string, still: StillView | null) => {
    const kept = older?.stills.flatMap((each) => (each.id !== id ? [each] : still === null ? [] : [still]));
    if (older !== null) setOlder({ ...older, stills: kept ?? [] });
    keepStills(yard.id, view);
  };
  const loadOlder = async () => {
    setLoading(true);
    const result = await stillApi.stills(yard.id, shown.at(-1) ?? null);
    updateConnectionState(result);
    setLoading(false);
    setProblem(result.kind === "ok" ? null : text.notLoadedText);
    if (result.kind === "ok") setOlder({ ...result.value, stills: mergeByMoment(shown, result.value.stills) });
  };
  if (shown.length === 0) return <p class="empty">{text.noStillsText}</p>;
  return (
    <>
      {daysOf(shown, yard.zone).map(([date, ofDay]) => (
        <section key={date} aria-labelledby={`stills-${date}`}>
          <h2 id={`stills-${date}`}>{capitalize(dayText(date, localDate(now.value, yard.zone)))}</h2>
          <StillGrid stills={ofDay} yard={yard} changed={changed} known={newest} />
        </section>
      ))}
      <FormError text={problem} />
      {(older ?? newest).more && (
        <div class="actions">
          <button type="button" disabled={loading} onClick={() => void loadOlder()}>
            {text.olderLabel}
          </button>
        </div>
      )}
    </>
  );
}

type GridProps = Omit<Parameters<typeof StillEntry>[0], "still"> & { readonly stills: readonly StillView[] };

const StillGrid = ({ stills: ofDay, ...rest }: GridProps) => (
  <ul class="stills">
    {ofDay.map((still) => (
      <StillEntry key={still.id} still={still} {...rest} />
    ))}
  </ul>
);

/** Each label's share of the labelled stills, with its limits. */
function LabelCounts({ view }: { readonly view: StillsView }) {
  const parts = [
    [text.broughtLabel, view.brought],
    [text.whoLabel, view.who],
  ] as const;
  if (parts.every(([, { labelled }]) => labelled === 0)) return null;
  return (
    <section aria-labelledby="still-counts">
      <h2 id="still-counts">{text.countsTitle}</h2>
      <p class="hint">{text.countsHint}</p>
      {parts.map(([label, shares]) => (
        <LabelCount key={label} label={label} shares={shares} total={view.total} />
      ))}
    </section>
  );
}

function LabelCount(props: { readonly label: string; readonly shares: LabelSharesView; readonly total: number }) {
  const { label, shares, total } = props;
  if (shares.labelled === 0) return null;
  return (
    <>
      <h3>{label}</h3>
      <p>{text.labelledOfText(shares.labelled, total)}</p>
      <dl class="still-counts">
        {shares.labels.map((each) => (
          <div key={each.label}>
            <dt>{each.label}</dt>
            <dd>
              {text.shareOfText(
                each.stills,
                shareText(each.share),
                shareText(each.limits.low),
                shareText(each.limits.high),
              )}
            </dd>
          </div>
        ))}
      </dl>
    </>
  );
}
