import { useEffect, useRef, useState } from "preact/hooks";
import type { PhoneView } from "../../server/contract/api.ts";
import { Said, textIn } from "../parts/field.tsx";
import { ReachMark } from "../parts/reachMark.tsx";
import { Screen } from "../parts/screen.tsx";
import { ThisPhone } from "../parts/thisPhone.tsx";
import { useLoad } from "../parts/useLoad.ts";
import { api } from "../reach/api.ts";
import { laterApi } from "../reach/laterApi.ts";
import { home, line, phoneChanges, signOut } from "../state/home.ts";
import { now } from "../state/now.ts";
import { findOwnEndpoint, ownEndpoint, permission, switchOff, switchOn } from "../state/phone.ts";
import { forgetOwn, loadPhones, phones, rememberedEndpoint, renewalWaits } from "../state/phones.ts";
import { awaitProof, type TestOutcome } from "../state/testPush.ts";
import { agoWords } from "../words/clock.ts";
import { proofWords, type ReachWarning, reachWarning, testProofWords } from "../words/reach.ts";

const outOfReach = "The server can't be reached just now.";
const ownZone = () => Intl.DateTimeFormat().resolvedOptions().timeZone;

/** Which phones are woken, and the proof of each. */
export function PhonesScreen() {
  const [said, setSaid] = useState<string | null>(null);
  const [test, setTest] = useState<readonly TestOutcome[]>([]);
  const [busy, setBusy] = useState(false);
  const left = useRef(false);

  const load = async () => {
    const answer = await loadPhones();
    if (answer.kind === "ok") setSaid((before) => (before === outOfReach ? null : before));
    else if (answer.kind === "unreachable") setSaid(outOfReach);
    else setSaid(answer.problem.detail);
    return answer;
  };
  useLoad(load, [phoneChanges.value]);
  const cut = line.value === "cut";
  useEffect(() => {
    void findOwnEndpoint();
  }, [cut]); // and again once the line is back
  useEffect(
    () => () => {
      left.current = true;
    },
    [],
  );

  const during = async (work: () => Promise<void>) => {
    setBusy(true);
    setSaid(null);
    await work();
    setBusy(false);
  };
  const on = (event: SubmitEvent) => {
    event.preventDefault();
    const label = textIn(new FormData(event.currentTarget as HTMLFormElement), "label") || "This device";
    void during(async () => {
      const view = await loadPhones(); // whether the server lists this browser's address must be known now
      if (view.kind !== "ok") {
        setSaid(view.kind === "unreachable" ? outOfReach : view.problem.detail);
        return;
      }
      const outcome = await switchOn(view.value, label, rememberedEndpoint.value);
      switch (outcome.kind) {
        case "ok":
          await load();
          break;
        case "sameAddress":
          setSaid(
            "The browser handed out the same address once more, which its push service no longer takes. Nothing can reach it. Restart the browser and try again, or use another one.",
          );
          break;
        case "notAllowed":
          setSaid(
            "The phone was not allowed to notify you. You can change that in the browser's settings for this page.",
          );
          break;
        case "failed":
          setSaid(`The browser could not switch it on: ${outcome.words}`);
          break;
        case "unreachable":
          setSaid("The server can't be reached just now. Try again when there is a connection.");
          break;
        case "problem":
        case "signedOut":
          setSaid(outcome.problem.detail);
          break;
      }
    });
  };
  const forget = (endpoint: string) =>
    during(async () => {
      const answer = await api.forgetPhone(endpoint);
      if (answer.kind === "unreachable") {
        setSaid(outOfReach);
        return;
      }
      if (endpoint === ownEndpoint.value) await switchOff();
      if (endpoint === rememberedEndpoint.value) await forgetOwn();
      await load();
    });
  const tryThem = () =>
    during(async () => {
      const before = phones.value;
      const answer = await laterApi.testPhones();
      if (answer.kind === "ok" && before !== null) {
        void awaitProof(answer.value, before, { load: loadPhones, told: setTest, isOver: () => left.current });
      } else setSaid(answer.kind === "unreachable" ? outOfReach : answer.kind === "ok" ? null : answer.problem.detail);
    });

  const known = phones.value?.phones ?? [];
  const thisOneIsOn = ownEndpoint.value !== null && known.some((phone) => phone.endpoint === ownEndpoint.value);
  const warning = ownWarning();
  // It goes on by itself, or the warning says all that can be done.
  const needsNoSwitch = thisOneIsOn || warning?.kind === "renewalWaits" || warning?.kind === "thisOneBlocked";
  const isFull = !needsNoSwitch && known.length >= (phones.value?.most ?? Number.POSITIVE_INFINITY);
  const results = test.filter(({ proof }) => warning === null || proof !== "shown"); // shown before what is warned of
  return (
    <Screen title="Phones">
      <p>A phone is woken only when something needs you. Everything else waits for the digest.</p>
      <Said words={said} />
      <Warning warning={warning} />
      {isFull && (
        <TooMany
          phone={longestUnused(known)}
          count={known.length}
          busy={busy}
          forget={(endpoint) => void forget(endpoint)}
        />
      )}
      {phones.value !== null && !needsNoSwitch && !isFull && <ThisPhone busy={busy} label={labelBefore()} on={on} />}
      {known.length > 0 && (
        <>
          <h2>Your phones</h2>
          <ul class="phones">
            {known.map((phone) => (
              <PhoneEntry
                key={phone.id}
                phone={phone}
                lostHere={phone.endpoint === rememberedEndpoint.value ? lostHereWords(warning) : null}
                busy={busy}
                forget={() => void forget(phone.endpoint)}
              />
            ))}
          </ul>
          <div class="answers">
            <button type="button" class="main" disabled={busy} onClick={() => void tryThem()}>
              Send a test to all
            </button>
          </div>
          <div role="status">
            {results.map(({ label, words, proof }) => (
              <p key={label + words} class={`test ${proof}`}>
                <strong>{label}:</strong> {proof === "none" ? words : testProofWords(proof)}
              </p>
            ))}
          </div>
        </>
      )}
      <section class="after" aria-labelledby="out-title">
        <h2 id="out-title">Sign out</h2>
        <p>
          {home.value === null ? "" : `${home.value.view.keeper.name} is signed in. `}Signing out leaves nothing on this
          phone; what waits to be sent is lost.
        </p>
        <button
          type="button"
          disabled={busy}
          onClick={() =>
            void during(async () => {
              if (!(await signOut()))
                setSaid("Signing out needs a connection, so that the session ends on the server too.");
            })
          }
        >
          Sign out
        </button>
        <p class="elsewhere">
          <a href="/account">Your account: passphrase and signed-in devices</a>
        </p>
      </section>
    </Screen>
  );
}

/** The one that showed a notice the longest ago, or never: most likely the one that nobody uses any more. */
function longestUnused(known: readonly PhoneView[]): PhoneView | undefined {
  const lastUse = ({ lastShownAt, addedAt }: PhoneView) => Date.parse(lastShownAt ?? addedAt);
  return [...known].sort((one, other) => lastUse(one) - lastUse(other))[0];
}

interface TooManyProps {
  readonly phone: PhoneView | undefined;
  readonly count: number;
  readonly busy: boolean;
  readonly forget: (endpoint: string) => void;
}

function TooMany({ phone, count, busy, forget }: TooManyProps) {
  if (phone === undefined) return null;
  const use =
    phone.lastShownAt === null
      ? "has never shown a notice"
      : `last showed one ${agoWords(phone.lastShownAt, now.value)}`;
  return (
    <div class="notice">
      <p>
        <strong>You have {count} phones, and one person can't have more.</strong> To add this one, remove one that you
        no longer use. “{phone.label}” {use}.
      </p>
      <button type="button" disabled={busy} onClick={() => forget(phone.endpoint)}>
        Remove {phone.label}
      </button>
    </div>
  );
}

/** The name of this very phone from before its address was lost; null where it had none. */
function labelBefore(): string | null {
  const { phones: listed = [], gone = [] } = phones.value ?? {};
  const own = [ownEndpoint.value, rememberedEndpoint.value];
  return [...listed, ...gone].find(({ endpoint }) => own.includes(endpoint))?.label ?? null;
}

/** What this browser knows of itself and the phones of the server together; null where there is nothing to warn of. */
function ownWarning(): ReachWarning | null {
  if (phones.value === null) return null;
  return reachWarning(phones.value, {
    endpoint: ownEndpoint.value,
    remembered: rememberedEndpoint.value,
    denied: permission.value === "denied",
    renewalWaits: renewalWaits.value,
  });
}

/** What no single phone's entry says; the rest stands beside each. */
function Warning({ warning }: { readonly warning: ReachWarning | null }) {
  if (warning === null || warning.kind === "noneProved") return null;
  return (
    <p class="notice worry">
      <strong>{warning.words}</strong> {warningAdvice[warning.kind]}
    </p>
  );
}

const warningAdvice = {
  noPhone: "Switch one on, or nobody hears of an alarm.",
  thisOneLost: "Switch it on again below.",
  thisOneBlocked: "Allow notices in the browser's settings for this page.",
  renewalWaits: "It is sent as soon as the server can be reached.",
} as const;

/** What this browser knows before the server does: an entry that the server still calls reachable isn't. */
function lostHereWords(warning: ReachWarning | null): string | null {
  switch (warning?.kind) {
    case "thisOneBlocked":
      return "It may not show notices any more.";
    case "renewalWaits":
      return "This address is no longer valid.";
    case "thisOneLost":
      return "Its browser no longer has this address.";
    default:
      return null;
  }
}

interface PhoneEntryProps {
  readonly phone: PhoneView;
  readonly lostHere: string | null; // in words, where it is this very phone and this browser knows better than the server
  readonly busy: boolean;
  readonly forget: () => void;
}

function PhoneEntry(props: PhoneEntryProps) {
  const { label, endpoint, reach, lastShownAt, lastAcceptedAt, problem } = props.phone;
  const proof = proofWords(lastShownAt, now.value, ownZone());
  return (
    <li>
      <h3>
        {label}
        {(endpoint === ownEndpoint.value || props.lostHere !== null) && <span class="since"> this one</span>}
      </h3>
      {props.lostHere === null || reach.kind === "lost" ? (
        <ReachMark kind={reach.kind}>{reach.kind === "proved" ? proof : reach.words}</ReachMark>
      ) : (
        <ReachMark kind="lost">{props.lostHere}</ReachMark>
      )}
      <p class="since">
        {reach.kind !== "proved" && lastShownAt !== null && `${proof} `}
        {lastAcceptedAt === null
          ? `No notice has reached its push service yet${reach.kind === "lost" ? "." : ": send a test."}`
          : `Its push service last took a notice ${agoWords(lastAcceptedAt, now.value)}.`}
      </p>
      {problem !== null && !reach.words.includes(problem) && <p class="problem">{problem}</p>}
      <button type="button" class="plain" disabled={props.busy} onClick={props.forget}>
        Forget {label}
      </button>
    </li>
  );
}
