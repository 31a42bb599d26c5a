import { render } from "preact";
import { untilIdle } from "./api/earlyResponses.ts";
import { App, openPath } from "./app.tsx";
import { openLocalStore } from "./offline/localStore.ts";
import { openActions, sendQueuedActions } from "./state/actions.ts";
import { openAlarmRates } from "./state/alarmRates.ts";
import { startClock } from "./state/clock.ts";
import { openDays } from "./state/days.ts";
import { openDigests } from "./state/digests.ts";
import { openHome } from "./state/home.ts";
import { openNotes } from "./state/notes.ts";
import { checkPhone, loadPhonesEarly, openPhones } from "./state/phones.ts";
import { watchForms } from "./state/unsaved.ts";
import { listenToWorker, registerWorker } from "./state/update.ts";
import "./style/index.css";

const root = document.getElementById("app");
if (root === null) throw new Error("index.html has no element with id app");
root.replaceChildren();
render(<App />, root);
startClock();
watchForms();
if (import.meta.env.PROD) listenToWorker(openPath, sendQueuedActions, checkPhone);
void open();

async function open(): Promise<void> {
  const store = await openLocalStore();
  // The first page shows above its feeders whether notifications arrive: at the same time, so that nothing moves.
  const alongside = location.pathname === "/" ? loadPhonesEarly() : undefined;
  const others = [openDays(store), openDigests(store), openAlarmRates(store), openNotes(store)];
  await Promise.all([openHome(store, alongside), ...others]);
  await openActions(store);
  await openPhones(store).catch((cause: unknown) =>
    console.warn("This phone's notification state could not be read.", cause),
  );
  if (import.meta.env.PROD) {
    await untilUsable();
    await registerWorker().catch((cause: unknown) => console.warn("The worker could not be registered.", cause));
  }
}

/**
 * The worker loads all files of the page for use without a connection: on a weak one, the first screen goes first. The wait has
 * an end, since without the worker there are no notifications.
 */
async function untilUsable(): Promise<void> {
  const timeLimit = new Promise<void>((resolve) => setTimeout(resolve, workerWaitMaxMs));
  await Promise.race([untilIdle(), timeLimit]);
  if ("requestIdleCallback" in window)
    await new Promise<unknown>((resolve) => requestIdleCallback(resolve, { timeout: 2_000 }));
}
const workerWaitMaxMs = 20_000;
