import * as text from "#text/practiceProgramme.ts";
import type { HomeView, PracticeProgrammeView } from "../../server/contract/api.ts";
import type { ApiResult } from "../api/api.ts";
import { laterApi } from "../api/laterApi.ts";
import { home, yards } from "../state/home.ts";

/** Sends a request that changes the practice yard, and resolves to whether it was accepted. */
export type Change = (request: () => Promise<ApiResult<HomeView>>) => Promise<boolean>;

export interface ControlProps {
  readonly busy: boolean;
  readonly change: Change;
}

/** A practice yard that lives the past weeks of a whole training programme in some minutes. */
export function PracticeProgramme({ busy, change }: ControlProps) {
  const programme = home.value?.view.practice.programme ?? null;
  if (!yards.value.some((yard) => yard.role === "keeper")) return null;
  const send = (action: "start" | "stop" | "remove") => void change(() => laterApi.practiceProgramme(action));
  const button = (action: "start" | "stop" | "remove", label: string, kind?: string) => (
    <button type="button" class={kind} disabled={busy} onClick={() => send(action)}>
      {label}
    </button>
  );
  return (
    <section class="subsection" aria-labelledby="programme-title">
      <h2 id="programme-title">{text.title}</h2>
      <p>{text.introText}</p>
      {programme !== null && <Progress programme={programme} />}
      <div class="actions">
        {programme === null && button("start", text.startLabel, "main")}
        {programme?.phase === "living" && button("stop", text.stopLabel)}
        {programme !== null && programme.phase !== "living" && button("start", text.againLabel)}
        {programme !== null && programme.phase !== "living" && button("remove", text.removeLabel, "danger")}
      </div>
    </section>
  );
}

function Progress({ programme: { yard, phase, lived, text: said } }: { readonly programme: PracticeProgrammeView }) {
  return (
    <>
      {phase === "living" && <progress max={100} value={lived} aria-labelledby="programme-title" />}
      <p role="status">{said}</p>
      <ul class="page-links">
        <li>
          <a href={`/yards/${yard}/training`}>{text.trainingLabel}</a>
        </li>
        <li>
          <a href={`/yards/${yard}/training/programme`}>{text.programmeLabel}</a>
        </li>
        <li>
          <a href={`/yards/${yard}/notes`}>{text.notesLabel}</a>
        </li>
      </ul>
    </>
  );
}
