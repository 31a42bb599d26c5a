import * as text from "#text/statusBar.ts";
import { retryingLoads } from "../api/retry.ts";
import { targetName } from "../offline/actionQueue.ts";
import { dismissFailure, failedActions, queuedActions } from "../state/actions.ts";
import { now } from "../state/clock.ts";
import { connectionState, home } from "../state/home.ts";
import { activateUpdate, isUpdateActive, isUpdateReady, reloadNow } from "../state/update.ts";
import { capitalize } from "../text/amount.ts";
import { agoText, momentText } from "../text/clock.ts";

const ownZone = () => Intl.DateTimeFormat().resolvedOptions().timeZone;

/** The state of the page itself: how old it is, what is not sent yet, what failed, and whether there is a new version. */
export function StatusBar() {
  const isOffline = connectionState.value === "offline";
  const storageProblem = home.value?.view.storageProblem ?? null;
  return (
    <div class="status-bar">
      {isOffline && <OfflineNotice />}
      {!isOffline && retryingLoads.value > 0 && (
        <p class="notice" role="status">
          <strong>{text.serverProblemTitle}</strong> {text.serverProblemText}
        </p>
      )}
      {storageProblem !== null && (
        <p class="notice warning" role="alert">
          {storageProblem}
        </p>
      )}
      {queuedActions.value.length > 0 && (
        <p class="notice" role="status">
          <strong>{text.queuedTitle}</strong>{" "}
          {queuedActions.value.map((action) => `${targetName(action)}: ${action.text}`).join("; ")}.
        </p>
      )}
      {failedActions.value.map(({ id, text: failure }) => (
        <p class="notice warning" key={id}>
          {capitalize(failure)}{" "}
          <button type="button" class="plain" onClick={() => dismissFailure(id)}>
            {text.okLabel}
          </button>
        </p>
      ))}
      <UpdateNotices />
    </div>
  );
}

function OfflineNotice() {
  const asOf = home.value === null ? null : new Date(home.value.asOf).toISOString();
  return (
    <p class="notice" role="status">
      <strong>{text.offlineTitle}</strong>{" "}
      {asOf === null
        ? text.nothingStoredText
        : text.dataTimeText(momentText(asOf, now.value, ownZone()), agoText(asOf, now.value))}
    </p>
  );
}

const UpdateNotices = () => (
  <>
    {isUpdateActive.value && (
      <p class="notice" role="status">
        <strong>{text.updateActiveTitle}</strong> {text.updateActiveText}{" "}
        <button type="button" class="plain" onClick={reloadNow}>
          {text.reloadLabel}
        </button>
      </p>
    )}
    {isUpdateReady.value && (
      <p class="notice" role="status">
        {text.updateReadyText}{" "}
        <button type="button" class="plain" onClick={activateUpdate}>
          {text.updateLabel}
        </button>
      </p>
    )}
  </>
);
