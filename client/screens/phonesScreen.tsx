import { useEffect, useState } from "preact/hooks";
import type { PhonesView, TestPushView } from "../../server/contract/api.ts";
import { Field, Said, textIn } from "../parts/field.tsx";
import { Screen } from "../parts/screen.tsx";
import { api } from "../reach/api.ts";
import { home, line, noteLine, signOut } from "../state/home.ts";
import { now } from "../state/now.ts";
import {
  findOwnEndpoint,
  guessLabel,
  ownEndpoint,
  pushAbility,
  switchOff,
  switchOn,
  thisBrowser,
} from "../state/phone.ts";
import { agoWords } from "../words/clock.ts";

const outOfReach = "The server can't be reached just now.";

/** Which phones are woken, and the proof of each. */
export function PhonesScreen() {
  const [phones, setPhones] = useState<PhonesView | null>(null);
  const [said, setSaid] = useState<string | null>(null);
  const [test, setTest] = useState<TestPushView | null>(null);
  const [busy, setBusy] = useState(false);

  const load = async () => {
    const answer = await api.phones();
    noteLine(answer);
    if (answer.kind === "ok") {
      setPhones(answer.value);
      setSaid((before) => (before === outOfReach ? null : before));
    } else if (answer.kind === "unreachable") setSaid(outOfReach);
    else setSaid(answer.problem.detail);
  };
  const cut = line.value === "cut";
  useEffect(() => {
    void load();
    void findOwnEndpoint();
  }, [cut]); // and again once the line is back

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
      if (phones === null) return;
      const outcome = await switchOn(phones.publicKey, label);
      switch (outcome.kind) {
        case "ok":
          await load();
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
      await load();
    });
  const tryThem = () =>
    during(async () => {
      const answer = await api.testPhones();
      if (answer.kind === "ok") setTest(answer.value);
      else setSaid(answer.kind === "unreachable" ? outOfReach : answer.problem.detail);
      await load();
    });

  const known = phones?.phones ?? [];
  const thisOneIsOn = ownEndpoint.value !== null && known.some((phone) => phone.endpoint === ownEndpoint.value);
  return (
    <Screen title="Phones">
      <p>A phone is woken only when something needs you. Everything else waits for the digest.</p>
      <Said words={said} />
      {phones !== null && !thisOneIsOn && <ThisPhone busy={busy} on={on} />}
      {known.length > 0 && (
        <>
          <h2>Phones that are woken</h2>
          <ul class="phones">
            {known.map((phone) => (
              <li key={phone.endpoint}>
                <h3>
                  {phone.label}
                  {phone.endpoint === ownEndpoint.value && <span class="since"> this one</span>}
                </h3>
                <p>
                  {phone.lastAcceptedAt === null
                    ? "No notice has reached its push service yet: send a test."
                    : `Its push service last took a notice ${agoWords(phone.lastAcceptedAt, now.value)}.`}
                </p>
                {phone.problem !== null && <p class="problem">{phone.problem}</p>}
                <button type="button" class="plain" disabled={busy} onClick={() => void forget(phone.endpoint)}>
                  Forget {phone.label}
                </button>
              </li>
            ))}
          </ul>
          <div class="answers">
            <button type="button" class="main" disabled={busy} onClick={() => void tryThem()}>
              Send a test to all
            </button>
          </div>
          <div role="status">
            {test?.outcomes.map(({ label, words }) => (
              <p key={label + words}>
                <strong>{label}:</strong> {words}
              </p>
            ))}
            {test !== null && (
              <p class="hint">
                The last proof is your own eyes: did it light up? If not, look whether the phone keeps notices quiet.
              </p>
            )}
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
      </section>
    </Screen>
  );
}

function ThisPhone(props: { readonly busy: boolean; readonly on: (event: SubmitEvent) => void }) {
  const ability = pushAbility(thisBrowser());
  switch (ability) {
    case "insecure":
      return (
        <p class="notice">
          <strong>This page came over plain HTTP.</strong> Browsers wake a phone only for pages that come over HTTPS.
          Put the server behind HTTPS (its guide says how) and open it by that address; everything else works here
          meanwhile.
        </p>
      );
    case "homeScreenFirst":
      return (
        <p class="notice">
          <strong>On this phone, put Pieward on the home screen first:</strong> Share, then “Add to Home Screen”. Open
          it from there and come back to this page.
        </p>
      );
    case "denied":
      return (
        <p class="notice">
          <strong>Notices from this page are blocked.</strong> Allow them in the browser's settings for this page, then
          come back.
        </p>
      );
    case "unsupported":
      return <p class="notice">This browser can't be woken by a push. Try another browser or another phone.</p>;
    case "ready":
      return (
        <form onSubmit={props.on} noValidate>
          <h2>Wake this phone</h2>
          <Field
            label="Call it"
            input={{ name: "label", maxLength: 60, autocomplete: "off", defaultValue: guessLabel(navigator.userAgent) }}
          />
          <div class="answers">
            <button type="submit" class="main" disabled={props.busy}>
              Switch on
            </button>
          </div>
        </form>
      );
  }
}
