import { useState } from "preact/hooks";
import { useLocation } from "preact-iso";
import { isHelperText, isKeeperText, movedDownText, movedUpText, removedText } from "#text/recipientsScreen.ts";
import type { PeopleView, PersonView } from "../../server/contract/api.ts";
import type { ApiResult } from "../api/api.ts";
import { laterApi, withoutContent } from "../api/laterApi.ts";
import { useFormSubmit } from "../components/field.tsx";
import { useLoad } from "../components/useLoad.ts";
import { announce } from "../state/announcement.ts";
import { refreshHome, updateConnectionState } from "../state/home.ts";
import { movedEscalationOrder } from "../text/people.ts";
import { loadErrorText } from "./notFound.tsx";

export type RecipientActions = ReturnType<typeof useRecipients>;

/** Loads the people of a yard, and changes one at a time. */
export function useRecipients(yard: string) {
  const { route } = useLocation();
  const [people, setPeople] = useState<PeopleView | null>(null);
  const [loadError, setLoadError] = useState<string | null>(null);
  const { sending, formError, send } = useFormSubmit();

  const load = async () => {
    const result = await laterApi.people(yard);
    updateConnectionState(result);
    if (result.kind === "ok") setPeople(result.value);
    setLoadError(loadErrorText(result));
    return result;
  };
  useLoad(load, [yard]);

  const change = async (request: () => Promise<ApiResult<PeopleView>>, doneText: string) => {
    const result = await send(request);
    if (result === null) return void (await load()); // a part of it may be done
    setPeople(result);
    announce(doneText);
  };
  const changeRole = async (person: PersonView) => {
    const role = person.role === "keeper" ? "helper" : "keeper";
    const doneText = role === "keeper" ? isKeeperText(person.name) : isHelperText(person.name);
    await change(() => laterApi.changePerson(yard, person.id, { role }), doneText);
    if (person.you) await refreshHome();
  };
  const remove = async (person: PersonView) => {
    if ((await send(() => withoutContent(laterApi.removePerson(yard, person.id)))) === null) return;
    announce(removedText(person.name));
    if (!person.you) return void (await load());
    await refreshHome();
    route("/", true);
  };
  /** Moves the person by one place; null where there is no such place. */
  const move = (inOrder: readonly PersonView[], person: PersonView, to: "earlier" | "later") => {
    const order = movedEscalationOrder(inOrder, person.id, to);
    if (order.size === 0) return null;
    const doneText = to === "earlier" ? movedUpText(person.name) : movedDownText(person.name);
    return () => void change(() => saveEscalationOrder(yard, order), doneText);
  };
  return { people, error: loadError ?? formError, busy: sending, load, accept: setPeople, changeRole, remove, move };
}

/** One request a person; the last result shows all of them. */
async function saveEscalationOrder(yard: string, order: ReadonlyMap<string, number>): Promise<ApiResult<PeopleView>> {
  let result: ApiResult<PeopleView> = { kind: "unreachable" };
  for (const [id, position] of order) {
    result = await laterApi.changePerson(yard, id, { escalationOrder: position });
    if (result.kind !== "ok") break;
  }
  return result;
}
