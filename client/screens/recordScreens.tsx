import type { ComponentType } from "preact";
import { noPageText, noPageTitle } from "#text/app.ts";
import { LinkedText } from "../components/linkedText.tsx";
import { Screen } from "../components/screen.tsx";
import { NotesScreen } from "./notesScreen.tsx";
import { ProgrammeScreen } from "./programmeScreen.tsx";
import { ReportScreen } from "./reportScreen.tsx";
import { StillsScreen } from "./stillsScreen.tsx";
import { TrainingScreen } from "./trainingScreen.tsx";

export { TrainingPlace } from "./trainingPlace.tsx";

interface RecordPage {
  readonly id?: string;
  readonly page?: string;
  readonly part?: string;
}

const pages: ReadonlyMap<string | undefined, ComponentType<{ readonly id: string }>> = new Map([
  ["training", TrainingScreen],
  ["training/programme", ProgrammeScreen],
  ["pictures", StillsScreen],
  ["notes", NotesScreen],
  ["report", ReportScreen],
]);

/** A yard's training, its programme, its notebook and its pictures: one file to fetch, and one line on the first page, which should stay small. */
export function RecordScreens({ id = "", page, part = "" }: RecordPage) {
  // Keyed by id: a half-filled form must not go along to the next yard.
  const Page = pages.get(part === "" ? page : `${page}/${part}`);
  if (Page !== undefined) return <Page key={id} id={id} />;
  return (
    <Screen title={noPageTitle}>
      <p class="empty">
        <LinkedText text={noPageText} hrefs={["/"]} />
      </p>
    </Screen>
  );
}
