import { render } from "preact";
import { App, openPath } from "./app.tsx";
import { openCupboard } from "./kept/cupboard.ts";
import { atRest } from "./reach/early.ts";
import { lookForActs, openActs } from "./state/acts.ts";
import { openDays } from "./state/days.ts";
import { openDigests } from "./state/digests.ts";
import { openHome } from "./state/home.ts";
import { keepTime } from "./state/now.ts";
import { loadPhonesEarly, lookAtPhone, openPhones } from "./state/phones.ts";
import { openRates } from "./state/rates.ts";
import { watchForms } from "./state/unsaved.ts";
import { listenToWorker, registerWorker } from "./state/update.ts";
import "./style/notebook.css";

const root = document.getElementById("app");
if (root === null) throw new Error("index.html has no element with id app");
root.replaceChildren();
render(<App />, root);
keepTime();
watchForms();
if (import.meta.env.PROD) listenToWorker(openPath, lookForActs, lookAtPhone);
void open();

async function open(): Promise<void> {
  const cupboard = await openCupboard();
  // The first page says beside its feeders whether anybody can be told: with them, not moments later and above them.
  const beside = location.pathname === "/" ? loadPhonesEarly() : undefined;
  await Promise.all([openHome(cupboard, beside), openDays(cupboard), openDigests(cupboard), openRates(cupboard)]);
  await openActs(cupboard);
  await openPhones(cupboard).catch((cause: unknown) =>
    console.warn("This phone's own switch could not be read.", cause),
  );
  if (import.meta.env.PROD) {
    await usable();
    await registerWorker().catch((cause: unknown) => console.warn("The worker could not be registered.", cause));
  }
}

/**
 * The worker fetches every part of the page for when there is no line: on a weak one, what the keeper came for goes first.
 * Given up after a while, since without the worker nobody is woken.
 */
async function usable(): Promise<void> {
  const patience = new Promise<void>((resolve) => setTimeout(resolve, workerWaitMaxMs));
  await Promise.race([atRest(), patience]);
  if ("requestIdleCallback" in window)
    await new Promise<unknown>((resolve) => requestIdleCallback(resolve, { timeout: 2_000 }));
}
const workerWaitMaxMs = 20_000;
