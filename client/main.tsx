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
import { checkPhone, loadPhonesEarly, openPhones } from "./state/phones.ts";
import { watchForms } from "./state/unsaved.ts";
import { listenToWorker, registerWorker } from "./state/update.ts";
import "./style/notebook.css";

const root = document.getElementById("app");
if (root === null) throw new Error("index.html has no element with id app");
root.replaceChildren();
render(<App />, root);
startClock();
watchForms();
if (import.meta.env.PROD) listenToWorker(openPath, sendQueuedActions, checkPhone);
void open();

async function open(): Promise<void> {
  const cupboard = await openLocalStore();
  // The first page says beside its feeders whether anybody can be told: with them, not moments later and above them.
  const beside = location.pathname === "/" ? loadPhonesEarly() : undefined;
  await Promise.all([openHome(cupboard, beside), openDays(cupboard), openDigests(cupboard), openAlarmRates(cupboard)]);
  await openActions(cupboard);
  await openPhones(cupboard).catch((cause: unknown) =>
    console.warn("This phone's own switch could not be read.", cause),
  );
  if (import.meta.env.PROD) {
    await untilUsable();
    await registerWorker().catch((cause: unknown) => console.warn("The worker could not be registered.", cause));
  }
}

/**
 * The worker fetches every part of the page for when there is no line: on a weak one, what the keeper came for goes first.
 * Given up after a while, since without the worker nobody is woken.
 */
async function untilUsable(): Promise<void> {
  const patience = new Promise<void>((resolve) => setTimeout(resolve, workerWaitMaxMs));
  await Promise.race([untilIdle(), patience]);
  if ("requestIdleCallback" in window)
    await new Promise<unknown>((resolve) => requestIdleCallback(resolve, { timeout: 2_000 }));
}
const workerWaitMaxMs = 20_000;
