import { useState } from "preact/hooks";
import type { InviteView, PeopleView, YardView } from "../../server/contract/api.ts";
import { laterApi } from "../api/laterApi.ts";
import { announce } from "../state/announcement.ts";
import { now } from "../state/clock.ts";
import { agoText, momentText } from "../text/clock.ts";
import { roleText } from "../text/people.ts";
import { CopyableText } from "./copyableText.tsx";
import { Choice, FieldGroup, FormError, useFormSubmit } from "./field.tsx";

/** A link by which one more person joins: shown once, works once, and has an end. */
export function InviteForm(props: { readonly yard: YardView; readonly made: () => void }) {
  const { yard, made } = props;
  const { sending, said, form, send } = useFormSubmit();
  const [invite, setInvite] = useState<InviteView | null>(null);
  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const role = new FormData(event.currentTarget as HTMLFormElement).get("role") === "keeper" ? "keeper" : "helper";
    const answer = await send(() => laterApi.invite(yard.id, role));
    if (answer === null) return;
    setInvite(answer);
    made();
  };
  return (
    <section class="after" aria-labelledby="invite-title">
      <h2 id="invite-title">Invite somebody</h2>
      {invite === null ? (
        <form ref={form} onSubmit={(event) => void submit(event)} noValidate>
          <FormError text={said} />
          <FieldGroup legend="What may they do?">
            {(["helper", "keeper"] as const).map((role) => (
              <Choice
                key={role}
                type="radio"
                label={`As a ${roleText[role].name}`}
                hint={roleText[role].rights}
                input={{ name: "role", value: role, defaultChecked: role === "helper" }}
              />
            ))}
          </FieldGroup>
          <div class="answers">
            <button type="submit" disabled={sending}>
              Make a link
            </button>
          </div>
        </form>
      ) : (
        <InviteLink yard={yard} invite={invite} />
      )}
    </section>
  );
}

/** Links that nobody has used yet: each can be withdrawn, such as one that was sent to somebody else by mistake. */
export function OpenInviteList(props: {
  readonly yard: YardView;
  readonly open: PeopleView["invites"];
  readonly changed: () => void;
}) {
  const { yard, open, changed } = props;
  const { sending, said, send } = useFormSubmit();
  const withdraw = async (id: string) => {
    const answer = await send(() => laterApi.withdrawInvite(yard.id, id));
    if (answer !== null) announce("That link opens nothing any more.");
    changed(); // it may have been used meanwhile
  };
  if (open.length === 0) return <FormError text={said} />;
  return (
    <section class="after" aria-labelledby="links-title">
      <h2 id="links-title">Links that nobody has used yet</h2>
      <FormError text={said} />
      <ul class="phones">
        {open.map(({ id, role, madeAt, expiresAt }) => (
          <li key={id}>
            <h3>For a {roleText[role].name}</h3>
            <p class="since">
              Made {agoText(madeAt, now.value)}, works until {momentText(expiresAt, now.value, yard.zone)}.
            </p>
            <button type="button" class="plain" disabled={sending} onClick={() => void withdraw(id)}>
              Withdraw
              <span class="hidden">
                {" "}
                the link for a {roleText[role].name}, made {agoText(madeAt, now.value)}
              </span>
            </button>
          </li>
        ))}
      </ul>
    </section>
  );
}

function InviteLink({ yard, invite }: { readonly yard: YardView; readonly invite: InviteView }) {
  const url = `${location.origin}/join#${invite.token}`;
  const canShare = typeof navigator.share === "function";
  const share = async () => {
    try {
      await navigator.share({ title: "Pieward", text: `Help with the feeders of ${yard.name}`, url });
    } catch {
      // Thought better of it, or the phone can't: the link stands there to be copied.
    }
  };
  return (
    <div class="key-once">
      <p>
        <strong>This link is shown only now</strong>, lets one person in, and works until{" "}
        {momentText(invite.expiresAt, now.value, yard.zone)}. Whoever has it can join: send it to nobody else.
      </p>
      {canShare && (
        <div class="answers">
          <button type="button" class="main" onClick={() => void share()}>
            Send the link
          </button>
        </div>
      )}
      <CopyableText label="the link" text={url} />
    </div>
  );
}
