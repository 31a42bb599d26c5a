import { useState } from "preact/hooks";
import { paths } from "../api/api.ts";
import type { FeederAction } from "../offline/actionQueue.ts";
import { now } from "../state/clock.ts";
import { capitalize } from "../text/amount.ts";
import { localDate, shiftDate, timeText, zonedInstant } from "../text/clock.ts";
import { Field, readText } from "./field.tsx";

/** Carries out an answer to one alarm; a `%` in the words is its title. */
export type PerformAction = (
  kind: FeederAction["kind"],
  path: (feeder: string, fault: string) => string,
  words: string,
  body: (id: string) => unknown,
) => Promise<void>;

interface SuppressProps {
  readonly busy: boolean;
  readonly perform: PerformAction;
}

/** Quiet until a time that is chosen at once: a shelf always has an end. */
export function ShelveForm({ busy, perform, zone }: SuppressProps & { readonly zone: string }) {
  return (
    <details class="shelve">
      <summary>Shelve…</summary>
      <p class="hint">Keeps quiet about this until the time you choose, then tells you again if it still stands.</p>
      <div class="answers">
        {shelveChoices(now.value, zone).map(({ words, until }) => (
          <button
            key={words}
            type="button"
            disabled={busy}
            onClick={() => void perform("shelve", paths.shelve, `shelve % ${words}`, (id) => ({ id, until }))}
          >
            {capitalize(words)}
          </button>
        ))}
      </div>
    </details>
  );
}

const hourMs = 3_600_000;
function shelveChoices(nowMs: number, zone: string) {
  const morning = zonedInstant(shiftDate(localDate(nowMs, zone), 1), "07:00", zone);
  return [
    { words: "for 1 hour", until: new Date(nowMs + hourMs).toISOString() },
    { words: `until tomorrow at ${timeText(morning, zone)}`, until: morning },
    { words: "for 3 days", until: new Date(nowMs + 72 * hourMs).toISOString() },
  ];
}

/** For what is known to be broken and stays so for now. It has no end of its own, so it has a reason and a name. */
export function OutOfServiceForm({ busy, perform }: SuppressProps) {
  const [problem, setProblem] = useState<string>();
  const submit = (event: SubmitEvent) => {
    event.preventDefault();
    const reason = readText(new FormData(event.currentTarget as HTMLFormElement), "reason");
    setProblem(reason === "" ? "say it in a few words, for whoever finds it so" : undefined);
    if (reason !== "")
      void perform("takeOutOfService", paths.takeOutOfService, "take % out of service", (id) => ({ id, reason }));
  };
  return (
    <details class="shelve">
      <summary>Take out of service…</summary>
      <form onSubmit={submit} noValidate>
        <p class="hint">
          Tells nobody of this until somebody takes it back into service. For what is broken and waits for a part; to be
          left alone for some days, shelve it.
        </p>
        <Field
          label="Why?"
          problem={problem}
          input={{
            name: "reason",
            maxLength: 200,
            autocomplete: "off",
            placeholder: "wire cut, new one ordered",
          }}
        />
        <div class="answers">
          <button type="submit" disabled={busy}>
            Take it out of service
          </button>
        </div>
      </form>
    </details>
  );
}
