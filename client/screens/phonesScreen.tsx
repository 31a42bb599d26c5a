import { useEffect, useRef, useState } from "preact/hooks";
import type { PhoneView } from "../../server/contract/api.ts";
import { api } from "../api/api.ts";
import { laterApi } from "../api/laterApi.ts";
import { FormError, readText } from "../components/field.tsx";
import { ReachabilityStatus } from "../components/reachabilityStatus.tsx";
import { Screen } from "../components/screen.tsx";
import { SwitchOnPhone } from "../components/switchOnPhone.tsx";
import { useLoad } from "../components/useLoad.ts";
import { now } from "../state/clock.ts";
import { connectionState, home, phoneChangeCount, signOut } from "../state/home.ts";
import { notificationPermission, ownEndpoint, switchOff, switchOn, updateOwnEndpoint } from "../state/ownPhone.ts";
import { isRenewalPending, loadPhones, phones, removeOwnEndpoint, storedEndpoint } from "../state/phones.ts";
import { awaitTestReceipts, type TestPushProgress } from "../state/testPush.ts";
import { agoText } from "../text/clock.ts";
import {
  lastDisplayText,
  type ReachabilityWarning,
  reachabilityWarning,
  testReceiptText,
} from "../text/reachability.ts";

const unreachableText = "The server can't be reached just now.";
const ownZone = () => Intl.DateTimeFormat().resolvedOptions().timeZone;

/** Which phones are woken, and the proof of each. */
export function PhonesScreen() {
  const [said, setSaid] = useState<string | null>(null);
  const [test, setTest] = useState<readonly TestPushProgress[]>([]);
  const [busy, setBusy] = useState(false);
  const left = useRef(false);

  const load = async () => {
    const answer = await loadPhones();
    if (answer.kind === "ok") setSaid((before) => (before === unreachableText ? null : before));
    else if (answer.kind === "unreachable") setSaid(unreachableText);
    else setSaid(answer.problem.detail);
    return answer;
  };
  useLoad(load, [phoneChangeCount.value]);
  const cut = connectionState.value === "offline";
  useEffect(() => {
    void updateOwnEndpoint();
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
    const label = readText(new FormData(event.currentTarget as HTMLFormElement), "label") || "This device";
    void during(async () => {
      const view = await loadPhones(); // whether the server lists this browser's address must be known now
      if (view.kind !== "ok") {
        setSaid(view.kind === "unreachable" ? unreachableText : view.problem.detail);
        return;
      }
      const outcome = await switchOn(view.value, label, storedEndpoint.value);
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
          setSaid(`The browser could not switch it on: ${outcome.text}`);
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
      const answer = await api.removePhone(endpoint);
      if (answer.kind === "unreachable") {
        setSaid(unreachableText);
        return;
      }
      if (endpoint === ownEndpoint.value) await switchOff();
      if (endpoint === storedEndpoint.value) await removeOwnEndpoint();
      await load();
    });
  const tryThem = () =>
    during(async () => {
      const before = phones.value;
      const answer = await laterApi.testPhones();
      if (answer.kind === "ok" && before !== null) {
        void awaitTestReceipts(answer.value, before, { load: loadPhones, told: setTest, isOver: () => left.current });
      } else
        setSaid(answer.kind === "unreachable" ? unreachableText : answer.kind === "ok" ? null : answer.problem.detail);
    });

  const known = phones.value?.phones ?? [];
  const thisOneIsOn = ownEndpoint.value !== null && known.some((phone) => phone.endpoint === ownEndpoint.value);
  const warning = ownWarning();
  // It goes on by itself, or the warning says all that can be done.
  const needsNoSwitch = thisOneIsOn || warning?.kind === "renewalPending" || warning?.kind === "thisPhoneBlocked";
  const isFull = !needsNoSwitch && known.length >= (phones.value?.phonesMax ?? Number.POSITIVE_INFINITY);
  const results = test.filter(({ receipt }) => warning === null || receipt !== "displayed"); // shown before what is warned of
  return (
    <Screen title="Phones">
      <p>A phone is woken only when something needs you. Everything else waits for the digest.</p>
      <FormError text={said} />
      <WarningNotice warning={warning} />
      {isFull && (
        <TooManyPhones
          phone={longestUnused(known)}
          count={known.length}
          busy={busy}
          forget={(endpoint) => void forget(endpoint)}
        />
      )}
      {phones.value !== null && !needsNoSwitch && !isFull && (
        <SwitchOnPhone busy={busy} label={earlierLabel()} on={on} />
      )}
      {known.length > 0 && (
        <>
          <h2>Your phones</h2>
          <ul class="phones">
            {known.map((phone) => (
              <PhoneEntry
                key={phone.id}
                phone={phone}
                lostText={phone.endpoint === storedEndpoint.value ? lostPhoneText(warning) : null}
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
            {results.map(({ label, text, receipt }) => (
              <p key={label + text} class={`test ${receipt}`}>
                <strong>{label}:</strong> {receipt === "none" ? text : testReceiptText(receipt)}
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
  const lastUse = ({ lastDisplayedAt, addedAt }: PhoneView) => Date.parse(lastDisplayedAt ?? addedAt);
  return [...known].sort((one, other) => lastUse(one) - lastUse(other))[0];
}

interface TooManyPhonesProps {
  readonly phone: PhoneView | undefined;
  readonly count: number;
  readonly busy: boolean;
  readonly forget: (endpoint: string) => void;
}

function TooManyPhones({ phone, count, busy, forget }: TooManyPhonesProps) {
  if (phone === undefined) return null;
  const use =
    phone.lastDisplayedAt === null
      ? "has never shown a notice"
      : `last showed one ${agoText(phone.lastDisplayedAt, now.value)}`;
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
function earlierLabel(): string | null {
  const { phones: listed = [], gone = [] } = phones.value ?? {};
  const own = [ownEndpoint.value, storedEndpoint.value];
  return [...listed, ...gone].find(({ endpoint }) => own.includes(endpoint))?.label ?? null;
}

/** What this browser knows of itself and the phones of the server together; null where there is nothing to warn of. */
function ownWarning(): ReachabilityWarning | null {
  if (phones.value === null) return null;
  return reachabilityWarning(phones.value, {
    endpoint: ownEndpoint.value,
    storedEndpoint: storedEndpoint.value,
    isBlocked: notificationPermission.value === "denied",
    isRenewalPending: isRenewalPending.value,
  });
}

/** What no single phone's entry says; the rest stands beside each. */
function WarningNotice({ warning }: { readonly warning: ReachabilityWarning | null }) {
  if (warning === null || warning.kind === "noneConfirmed") return null;
  return (
    <p class="notice worry">
      <strong>{warning.text}</strong> {warningAdvice[warning.kind]}
    </p>
  );
}

const warningAdvice = {
  noPhone: "Switch one on, or nobody hears of an alarm.",
  thisPhoneLost: "Switch it on again below.",
  thisPhoneBlocked: "Allow notices in the browser's settings for this page.",
  renewalPending: "It is sent as soon as the server can be reached.",
} as const;

/** What this browser knows before the server does: an entry that the server still calls reachable isn't. */
function lostPhoneText(warning: ReachabilityWarning | null): string | null {
  switch (warning?.kind) {
    case "thisPhoneBlocked":
      return "It may not show notices any more.";
    case "renewalPending":
      return "This address is no longer valid.";
    case "thisPhoneLost":
      return "Its browser no longer has this address.";
    default:
      return null;
  }
}

interface PhoneEntryProps {
  readonly phone: PhoneView;
  readonly lostText: string | null; // in words, where it is this very phone and this browser knows better than the server
  readonly busy: boolean;
  readonly forget: () => void;
}

function PhoneEntry(props: PhoneEntryProps) {
  const { label, endpoint, reachability, lastDisplayedAt, lastAcceptedAt, problem } = props.phone;
  const proof = lastDisplayText(lastDisplayedAt, now.value, ownZone());
  return (
    <li>
      <h3>
        {label}
        {(endpoint === ownEndpoint.value || props.lostText !== null) && <span class="since"> this one</span>}
      </h3>
      {props.lostText === null || reachability.kind === "lost" ? (
        <ReachabilityStatus kind={reachability.kind}>
          {reachability.kind === "proved" ? proof : reachability.text}
        </ReachabilityStatus>
      ) : (
        <ReachabilityStatus kind="lost">{props.lostText}</ReachabilityStatus>
      )}
      <p class="since">
        {reachability.kind !== "proved" && lastDisplayedAt !== null && `${proof} `}
        {lastAcceptedAt === null
          ? `No notice has reached its push service yet${reachability.kind === "lost" ? "." : ": send a test."}`
          : `Its push service last took a notice ${agoText(lastAcceptedAt, now.value)}.`}
      </p>
      {problem !== null && !reachability.text.includes(problem) && <p class="problem">{problem}</p>}
      <button type="button" class="plain" disabled={props.busy} onClick={props.forget}>
        Forget {label}
      </button>
    </li>
  );
}
