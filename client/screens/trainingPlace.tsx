import { loadingText, nothingStoredText } from "#text/common.ts";
import * as text from "#text/trainingPlace.ts";
import { LinkedText } from "../components/linkedText.tsx";
import { Screen } from "../components/screen.tsx";
import { connectionState, home, yards } from "../state/home.ts";
import { TrainingScreen } from "./trainingScreen.tsx";

/** The training record of the only yard; where there are several, the choice. */
export function TrainingPlace() {
  if (home.value === null) {
    const isOffline = connectionState.value === "offline";
    return (
      <Screen title={text.title}>
        <p class={isOffline ? "empty" : "empty first-load"}>{isOffline ? nothingStoredText : loadingText}</p>
      </Screen>
    );
  }
  const real = yards.value.filter(({ practice }) => !practice);
  const [only, ...others] = real;
  if (only !== undefined && others.length === 0) return <TrainingScreen key={only.id} id={only.id} />;
  return (
    <Screen title={text.title}>
      {only === undefined ? (
        <p class="empty">
          <LinkedText text={text.noYardText} hrefs={["/practice"]} />
        </p>
      ) : (
        <ul class="page-links">
          {real.map(({ id, name }) => (
            <li key={id}>
              <a href={`/yards/${id}/training`}>{name}</a>
            </li>
          ))}
        </ul>
      )}
    </Screen>
  );
}
