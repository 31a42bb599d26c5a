import { useState } from "preact/hooks";
import { appName } from "#text/common.ts";
import * as text from "#text/inviteForm.ts";
import { roleText } from "#text/people.ts";
import type { InviteView, PeopleView, YardView } from "../../server/contract/api.ts";
import { laterApi } from "../api/laterApi.ts";
import { announce } from "../state/announcement.ts";
import { now } from "../state/clock.ts";
import { agoText, momentText } from "../text/clock.ts";
import { CopyableText } from "./copyableText.tsx";
import { Choice, FieldGroup, FormError, useFormSubmit } from "./field.tsx";

/** A link for one more person: shown once, works once, and expires. */
export function InviteForm(props: { readonly yard: YardView; readonly onCreated: () => void }) {
  const { yard, onCreated } = props;
  const { sending, formError, form, send } = useFormSubmit();
  const [invite, setInvite] = useState<InviteView | null>(null);
  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const role = new FormData(event.currentTarget as HTMLFormElement).get("role") === "keeper" ? "keeper" : "helper";
    const created = await send(() => laterApi.invite(yard.id, role));
    if (created === null) return;
    setInvite(created);
    onCreated();
  };
  return (
    <section class="subsection" aria-labelledby="invite-title">
      <h2 id="invite-title">{text.title}</h2>
      {invite === null ? (
        <form ref={form} onSubmit={(event) => void submit(event)} noValidate>
          <FormError text={formError} />
          <RoleChoices />
          <div class="actions">
            <button type="submit" disabled={sending}>
              {text.createLabel}
            </button>
          </div>
        </form>
      ) : (
        <InviteLink yard={yard} invite={invite} />
      )}
    </section>
  );
}

const RoleChoices = () => (
  <FieldGroup legend={text.roleLegend}>
    {(["helper", "keeper"] as const).map((role) => (
      <Choice
        key={role}
        type="radio"
        label={text.roleLabel(role)}
        hint={roleText[role].rights}
        input={{ name: "role", value: role, defaultChecked: role === "helper" }}
      />
    ))}
  </FieldGroup>
);

/** Links that nobody has used yet. Each can be cancelled, for example one that was sent to the wrong person. */
export function OpenInviteList(props: {
  readonly yard: YardView;
  readonly open: PeopleView["invites"];
  readonly onChanged: () => void;
}) {
  const { yard, open, onChanged } = props;
  const { sending, formError, send } = useFormSubmit();
  const cancel = async (id: string) => {
    const people = await send(() => laterApi.withdrawInvite(yard.id, id));
    if (people !== null) announce(text.cancelledText);
    onChanged(); // it may have been used meanwhile
  };
  if (open.length === 0) return <FormError text={formError} />;
  return (
    <section class="subsection" aria-labelledby="links-title">
      <h2 id="links-title">{text.openTitle}</h2>
      <FormError text={formError} />
      <ul class="entry-list">
        {open.map(({ id, role, madeAt, expiresAt }) => (
          <li key={id}>
            <h3>{text.openEntryTitle(role)}</h3>
            <p class="since">
              {text.createdText(agoText(madeAt, now.value), momentText(expiresAt, now.value, yard.zone))}
            </p>
            <button type="button" class="plain" disabled={sending} onClick={() => void cancel(id)}>
              {text.cancelInvitationLabel}
              <span class="hidden">{text.cancelInvitationDetail(role, agoText(madeAt, now.value))}</span>
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
      await navigator.share({ title: appName, text: text.shareText(yard.name), url });
    } catch {
      // Cancelled, or not possible on this phone: the link can be copied.
    }
  };
  return (
    <div class="shown-once">
      <p>
        <strong>{text.shownOnceTitle}</strong> {text.shownOnceText(momentText(invite.expiresAt, now.value, yard.zone))}
      </p>
      {canShare && (
        <div class="actions">
          <button type="button" class="main" onClick={() => void share()}>
            {text.shareLabel}
          </button>
        </div>
      )}
      <CopyableText label={text.linkLabel} text={url} />
    </div>
  );
}
