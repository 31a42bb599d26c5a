import { useState } from "preact/hooks";
import { saveLabel } from "#text/common.ts";
import * as text from "#text/ownNotificationSettings.ts";
import { savedText } from "#text/savedNote.ts";
import type { MeView, PeopleView, PersonView } from "../../server/contract/api.ts";
import { laterApi } from "../api/laterApi.ts";
import { announce } from "../state/announcement.ts";
import { refreshHome } from "../state/home.ts";
import { Choice, Field, FieldGroup, FormError, readText, useFormSubmit } from "./field.tsx";
import { noteSaved } from "./savedNote.tsx";

interface PersonProps {
  readonly yard: string;
  readonly you: PersonView;
  readonly onChanged: (people: PeopleView) => void;
}

/** When and by which channel the person is notified: nobody else can change it. */
export const OwnNotificationSettings = ({ me, ...person }: PersonProps & { readonly me: MeView }) => (
  <section class="subsection" aria-labelledby="own-title">
    <h2 id="own-title">{text.title}</h2>
    <TimesForm {...person} />
    <EmailForm me={me} />
  </section>
);

function TimesForm({ yard, you, onChanged }: PersonProps) {
  const { sending, problems, formError, form, send } = useFormSubmit();
  const [undone, setUndone] = useState(0); // the fields show what they begin with anew
  const before = { quietHours: you.quietHours, urgentBreaks: you.urgentBreaks, digestBy: you.digestBy };
  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const data = new FormData(event.currentTarget as HTMLFormElement);
    const [from, to] = [readText(data, "quietHours.from"), readText(data, "quietHours.to")];
    const people = await send(() =>
      laterApi.changePerson(yard, you.id, {
        quietHours: from === "" && to === "" ? null : { from, to },
        urgentBreaks: data.has("urgentBreaks"),
        digestBy: (data.get("digestBy") ?? you.digestBy) as PersonView["digestBy"],
      }),
    );
    if (people === null) return;
    onChanged(people);
    noteSaved(savedText, async () => {
      const result = await laterApi.changePerson(yard, you.id, before);
      if (result.kind === "ok") onChanged(result.value);
      if (result.kind === "ok") setUndone((count) => count + 1);
      return result;
    });
  };
  return (
    <form ref={form} onSubmit={(event) => void submit(event)} noValidate>
      <FormError text={formError} />
      <QuietHoursFields key={`quiet${undone}`} you={you} problems={problems} />
      <FieldGroup key={`digest${undone}`} legend={text.digestLegend} problem={problems.digestBy}>
        {(["push", "email", "both", "none"] as const).map((channel) => (
          <Choice
            key={channel}
            type="radio"
            label={text.digestLabels[channel]}
            input={{ name: "digestBy", value: channel, defaultChecked: you.digestBy === channel }}
          />
        ))}
      </FieldGroup>
      <div class="actions">
        <button type="submit" class="main" disabled={sending}>
          {saveLabel}
        </button>
      </div>
    </form>
  );
}

const QuietHoursFields = (props: { readonly you: PersonView; readonly problems: Readonly<Record<string, string>> }) => {
  const { you, problems } = props;
  return (
    <FieldGroup legend={text.quietHoursLegend} hint={text.quietHoursHint} problem={problems.quiet}>
      <div class="side-by-side">
        <Field
          label={text.fromLabel}
          problem={problems["quietHours.from"]}
          input={{ name: "quietHours.from", type: "time", defaultValue: you.quietHours?.from ?? "" }}
        />
        <Field
          label={text.toLabel}
          problem={problems["quietHours.to"]}
          input={{ name: "quietHours.to", type: "time", defaultValue: you.quietHours?.to ?? "" }}
        />
      </div>
      <Choice
        type="checkbox"
        label={text.urgentLabel}
        hint={text.urgentHint}
        input={{ name: "urgentBreaks", defaultChecked: you.urgentBreaks }}
      />
    </FieldGroup>
  );
};

function EmailForm({ me }: { readonly me: MeView }) {
  const saving = useFormSubmit();
  const [undone, setUndone] = useState(0);
  const testing = useFormSubmit();
  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const email = readText(new FormData(event.currentTarget as HTMLFormElement), "mail");
    const saved = await saving.send(() => laterApi.changeMe({ email: email === "" ? null : email }));
    if (saved === null) return;
    await refreshHome();
    const before = me.email;
    noteSaved(email === "" ? text.emailRemovedText : text.emailSavedText, async () => {
      const result = await laterApi.changeMe({ email: before });
      if (result.kind === "ok") await refreshHome();
      if (result.kind === "ok") setUndone((count) => count + 1);
      return result;
    });
  };
  const sendTest = async () => {
    const test = await testing.send(() => laterApi.testMail());
    if (test !== null) announce(test.text);
  };
  return (
    <form ref={saving.form} onSubmit={(event) => void submit(event)} noValidate>
      <h3>{text.emailTitle}</h3>
      <FormError text={saving.formError} />
      <Field
        key={undone}
        label={text.emailLabel}
        hint={me.canEmail ? text.emailHint : text.cannotEmailHint}
        problem={saving.problems.mail}
        input={{ name: "mail", type: "email", autocomplete: "email", maxLength: 254, defaultValue: me.email ?? "" }}
      />
      <FormError text={testing.formError} />
      <div class="actions">
        <button type="submit" disabled={saving.sending}>
          {text.saveEmailLabel}
        </button>
        {me.canEmail && me.email !== null && (
          <button type="button" disabled={testing.sending} onClick={() => void sendTest()}>
            {text.testEmailLabel}
          </button>
        )}
      </div>
    </form>
  );
}
