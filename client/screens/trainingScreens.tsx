import { noPageText, noPageTitle } from "#text/app.ts";
import { LinkedText } from "../components/linkedText.tsx";
import { Screen } from "../components/screen.tsx";
import { ProgrammeScreen } from "./programmeScreen.tsx";
import { TrainingScreen } from "./trainingScreen.tsx";

/** A yard's training and its programme. One file to fetch, and one line on the first page: they share their fields and their record. */
export function TrainingScreens({ id = "", part }: { readonly id?: string; readonly part?: string }) {
  // Keyed by id: a half-filled form must not go along to the next yard.
  if (part === "programme") return <ProgrammeScreen key={id} id={id} />;
  if (part === undefined || part === "") return <TrainingScreen key={id} id={id} />;
  return (
    <Screen title={noPageTitle}>
      <p class="empty">
        <LinkedText text={noPageText} hrefs={["/"]} />
      </p>
    </Screen>
  );
}
