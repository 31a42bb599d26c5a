import { askedOf } from "../kept/waiting.ts";
import { loadsWaiting } from "../reach/again.ts";
import { givenUp, haveRead, waiting } from "../state/acts.ts";
import { home, line } from "../state/home.ts";
import { now } from "../state/now.ts";
import { goOverNow, takeUpdate, updateReady, updateTaken } from "../state/update.ts";
import { sentence } from "../words/amount.ts";
import { agoWords, whenWords } from "../words/clock.ts";

const ownZone = () => Intl.DateTimeFormat().resolvedOptions().timeZone;

/** What the keeper should know about the page itself: how old it is, what waits, what was given up, what is new. */
export function Notices() {
  const known = home.value;
  const asOf = known === null ? null : new Date(known.asOf).toISOString();
  return (
    <div class="notices">
      {line.value === "cut" && (
        <p class="notice" role="status">
          <strong>No connection to the server.</strong>{" "}
          {asOf === null
            ? "Nothing has been kept on this phone yet."
            : `What you see is as of ${whenWords(asOf, now.value, ownZone())} (${agoWords(asOf, now.value)}).`}
        </p>
      )}
      {line.value !== "cut" && loadsWaiting.value > 0 && (
        <p class="notice" role="status">
          <strong>The server had a problem.</strong> This page tries again by itself.
        </p>
      )}
      {known !== null && known.view.storage !== null && (
        <p class="notice worry" role="alert">
          {known.view.storage}
        </p>
      )}
      {waiting.value.length > 0 && (
        <p class="notice" role="status">
          <strong>Waiting on this phone:</strong>{" "}
          {waiting.value.map((act) => `${askedOf(act)}: ${act.words}`).join("; ")}.
        </p>
      )}
      {givenUp.value.map(({ id, words }) => (
        <p class="notice worry" key={id}>
          {sentence(words)}{" "}
          <button type="button" class="plain" onClick={() => haveRead(id)}>
            I've read it
          </button>
        </p>
      ))}
      {updateTaken.value && (
        <p class="notice" role="status">
          <strong>A new version is in use.</strong> This window goes over to it when nothing unsaved is left here.{" "}
          <button type="button" class="plain" onClick={goOverNow}>
            Reload now and lose what was entered
          </button>
        </p>
      )}
      {updateReady.value && (
        <p class="notice" role="status">
          A new version is ready.{" "}
          <button type="button" class="plain" onClick={takeUpdate}>
            Use it now
          </button>
        </p>
      )}
    </div>
  );
}
