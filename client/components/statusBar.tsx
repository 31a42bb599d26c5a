import { retryingLoads } from "../api/retry.ts";
import { targetName } from "../offline/actionQueue.ts";
import { dismissFailure, failedActions, queuedActions } from "../state/actions.ts";
import { now } from "../state/clock.ts";
import { connectionState, home } from "../state/home.ts";
import { activateUpdate, isUpdateActive, isUpdateReady, reloadNow } from "../state/update.ts";
import { capitalize } from "../text/amount.ts";
import { agoText, momentText } from "../text/clock.ts";

const ownZone = () => Intl.DateTimeFormat().resolvedOptions().timeZone;

/** What the keeper should know about the page itself: how old it is, what waits, what was given up, what is new. */
export function StatusBar() {
  const known = home.value;
  const asOf = known === null ? null : new Date(known.asOf).toISOString();
  return (
    <div class="notices">
      {connectionState.value === "offline" && (
        <p class="notice" role="status">
          <strong>No connection to the server.</strong>{" "}
          {asOf === null
            ? "Nothing has been kept on this phone yet."
            : `What you see is as of ${momentText(asOf, now.value, ownZone())} (${agoText(asOf, now.value)}).`}
        </p>
      )}
      {connectionState.value !== "offline" && retryingLoads.value > 0 && (
        <p class="notice" role="status">
          <strong>The server had a problem.</strong> This page tries again by itself.
        </p>
      )}
      {known !== null && known.view.storageProblem !== null && (
        <p class="notice worry" role="alert">
          {known.view.storageProblem}
        </p>
      )}
      {queuedActions.value.length > 0 && (
        <p class="notice" role="status">
          <strong>Waiting on this phone:</strong>{" "}
          {queuedActions.value.map((act) => `${targetName(act)}: ${act.text}`).join("; ")}.
        </p>
      )}
      {failedActions.value.map(({ id, words }) => (
        <p class="notice worry" key={id}>
          {capitalize(words)}{" "}
          <button type="button" class="plain" onClick={() => dismissFailure(id)}>
            I've read it
          </button>
        </p>
      ))}
      {isUpdateActive.value && (
        <p class="notice" role="status">
          <strong>A new version is in use.</strong> This window goes over to it when nothing unsaved is left here.{" "}
          <button type="button" class="plain" onClick={reloadNow}>
            Reload now and lose what was entered
          </button>
        </p>
      )}
      {isUpdateReady.value && (
        <p class="notice" role="status">
          A new version is ready.{" "}
          <button type="button" class="plain" onClick={activateUpdate}>
            Use it now
          </button>
        </p>
      )}
    </div>
  );
}
