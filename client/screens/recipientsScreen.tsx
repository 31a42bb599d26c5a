import { useState } from "preact/hooks";
import { useLocation } from "preact-iso";
import type { PeopleView, PersonView, YardView } from "../../server/contract/api.ts";
import type { ApiResult } from "../api/api.ts";
import { laterApi } from "../api/laterApi.ts";
import { FormError, NumberField, readNumber, useFormSubmit } from "../components/field.tsx";
import { InviteForm, OpenInviteList } from "../components/inviteForm.tsx";
import { OwnNotificationSettings } from "../components/ownNotificationSettings.tsx";
import { PersonEntry } from "../components/personEntry.tsx";
import { Screen } from "../components/screen.tsx";
import { useLoad } from "../components/useLoad.ts";
import { announce } from "../state/announcement.ts";
import { home, refreshHome, updateConnectionState, yards } from "../state/home.ts";
import { escalationText, movedEscalationOrder, sharedOrderText } from "../text/people.ts";

/** Who is told of a yard's alarms, in which order, and how each wants it. */
export function RecipientsScreen(props: { readonly id: string }) {
  const { route } = useLocation();
  const [people, setPeople] = useState<PeopleView | null>(null);
  const [trouble, setTrouble] = useState<string | null>(null);
  const acting = useFormSubmit();
  const yard = yards.value.find((each) => each.id === props.id);

  const load = async () => {
    const answer = await laterApi.people(props.id);
    updateConnectionState(answer);
    if (answer.kind === "ok") {
      setPeople(answer.value);
      setTrouble(null);
    } else setTrouble(answer.kind === "unreachable" ? "The server can't be reached just now." : answer.problem.detail);
    return answer;
  };
  useLoad(load, [props.id]);

  if (yard === undefined) {
    return (
      <Screen title="People" back={{ href: "/", name: "Feeders" }}>
        <p class="empty">This yard isn't known on this phone.</p>
      </Screen>
    );
  }
  const inOrder = [...(people?.people ?? [])].sort((one, other) => one.escalationOrder - other.escalationOrder);
  const you = inOrder.find((person) => person.you);
  const me = home.value?.view.keeper;
  const isKeeper = yard.role === "keeper";

  const change = async (ask: () => Promise<ApiResult<PeopleView>>, words: string) => {
    const answer = await acting.send(ask);
    if (answer === null) return load(); // part of it may have been done
    setPeople(answer);
    announce(words);
  };
  const move = (person: PersonView, to: "earlier" | "later") => {
    const turns = movedEscalationOrder(inOrder, person.id, to);
    if (!isKeeper || turns.size === 0) return null;
    return () => void change(() => saveEscalationOrder(yard.id, turns), `${person.name} is told ${to} now.`);
  };
  const changeRole = async (person: PersonView) => {
    const role = person.role === "keeper" ? "helper" : "keeper";
    await change(() => laterApi.changePerson(yard.id, person.id, { role }), `${person.name} is a ${role} now.`);
    if (person.you) await refreshHome();
  };
  const remove = async (person: PersonView) => {
    const gone = await acting.send(async () => {
      const answer = await laterApi.removePerson(yard.id, person.id);
      return answer.kind === "ok" ? { kind: "ok" as const, value: true } : answer;
    });
    if (gone === null) return;
    announce(`${person.name} is told no more.`);
    if (person.you) {
      await refreshHome();
      route("/", true);
    } else await load();
  };

  return (
    <Screen title={`Who is told at ${yard.name}`} practice={yard.practice} back={{ href: "/", name: "Feeders" }}>
      <FormError text={trouble ?? acting.said} />
      {people !== null && (
        <>
          <p>{escalationText(inOrder, yard.escalateMinutes)}</p>
          <ol class="people">
            {inOrder.map((person) => (
              <PersonEntry
                key={person.id}
                person={person}
                together={sharedOrderText(person, inOrder)}
                busy={acting.sending}
                earlier={move(person, "earlier")}
                later={move(person, "later")}
                changeRole={isKeeper && inOrder.length > 1 ? () => void changeRole(person) : null}
                remove={(isKeeper || person.you) && inOrder.length > 1 ? () => void remove(person) : null}
              />
            ))}
          </ol>
          {you !== undefined && me !== undefined && (
            <OwnNotificationSettings yard={yard.id} you={you} me={me} changed={setPeople} />
          )}
          {isKeeper && <EscalationForm yard={yard} />}
          {isKeeper && <InviteForm yard={yard} made={() => void load()} />}
          {isKeeper && <OpenInviteList yard={yard} open={people.invites} changed={() => void load()} />}
        </>
      )}
      <p class="elsewhere">
        <a href="/phones">Your phones, and the proof of each</a>
      </p>
    </Screen>
  );
}

/** One after the other: each is a word of its own to the server, and the last answer holds them all. */
async function saveEscalationOrder(yard: string, turns: ReadonlyMap<string, number>): Promise<ApiResult<PeopleView>> {
  let answer: ApiResult<PeopleView> = { kind: "unreachable" };
  for (const [id, turn] of turns) {
    answer = await laterApi.changePerson(yard, id, { escalationOrder: turn });
    if (answer.kind !== "ok") break;
  }
  return answer;
}

/** How long one of them has before the next is told too. */
function EscalationForm({ yard }: { readonly yard: YardView }) {
  const { sending, problems, said, form, send } = useFormSubmit();
  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const escalateMinutes = readNumber(new FormData(event.currentTarget as HTMLFormElement), "escalateMinutes");
    const changed = await send(async () => {
      const answer = await laterApi.changeYard(yard.id, escalateMinutes === undefined ? {} : { escalateMinutes });
      return answer.kind === "ok" ? { kind: "ok" as const, value: true } : answer;
    });
    if (changed === null) return;
    await refreshHome();
    announce("Written down.");
  };
  return (
    <section class="after" aria-labelledby="next-title">
      <h2 id="next-title">If nobody answers</h2>
      <form ref={form} onSubmit={(event) => void submit(event)} noValidate>
        <FormError text={said} />
        <NumberField
          name="escalateMinutes"
          label="Tell the next after"
          hint="Long enough to find the phone in a coat, short enough for an urgent alarm."
          unit="minutes"
          problem={problems.escalateMinutes}
          min={1}
          max={1_440}
          whole
          value={yard.escalateMinutes}
        />
        <div class="answers">
          <button type="submit" disabled={sending}>
            Write the minutes down
          </button>
        </div>
      </form>
    </section>
  );
}
