import { render } from "preact";
import { App, openPath } from "./app.tsx";
import { openCupboard } from "./kept/cupboard.ts";
import { lookForActs, openActs } from "./state/acts.ts";
import { openDays } from "./state/days.ts";
import { openDigests } from "./state/digests.ts";
import { openHome } from "./state/home.ts";
import { keepTime } from "./state/now.ts";
import { openPhones } from "./state/phones.ts";
import { openRates } from "./state/rates.ts";
import { registerWorker } from "./state/update.ts";
import "./style/notebook.css";

const root = document.getElementById("app");
if (root === null) throw new Error("index.html has no element with id app");
root.replaceChildren();
render(<App />, root);
keepTime();
void open();

async function open(): Promise<void> {
  const cupboard = await openCupboard();
  await Promise.all([openHome(cupboard), openDays(cupboard), openDigests(cupboard), openRates(cupboard)]);
  await openActs(cupboard);
  await openPhones(cupboard).catch((cause: unknown) =>
    console.warn("This phone's own switch could not be read.", cause),
  );
  if (import.meta.env.PROD) {
    await registerWorker(openPath, lookForActs).catch((cause: unknown) =>
      console.warn("The worker could not be registered.", cause),
    );
  }
}
