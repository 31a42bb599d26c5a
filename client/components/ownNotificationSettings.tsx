import { saveLabel } from "#text/common.ts";
import * as text from "#text/ownNotificationSettings.ts";
import { savedText } from "#text/savedNote.ts";
import type { MeView, PeopleView, PersonView } from "../../server/contract/api.ts";
import { laterApi } from "../api/laterApi.ts";
import { announce } from "../state/announcement.ts";
import { refreshHome } from "../state/home.ts";
import { Choice, Field, FieldGroup, FormError, readText, useFormSubmit } from "./field.tsx";
import { noteSaved } from "./savedNote.tsx";
import { useUndoCount } from "./useUndoCount.ts";

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
  const { undone, counted } = useUndoCount();
  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const change = readTimes(new FormData(event.currentTarget as HTMLFormElement), you);
    const before = { quietHours: you.quietHours, urgentBreaks: you.urgentBreaks, digestBy: you.digestBy };
    const people = await send(() => laterApi.changePerson(yard, you.id, change));
    if (people === null) return;
    onChanged(people);
    const undo = async () => {
      const result = await laterApi.changePerson(yard, you.id, before);
      if (result.kind === "ok") onChanged(result.value);
      return result;
    };
    noteSaved(savedText, counted(undo));
  };
  return (
    <form ref={form} onSubmit={(event) => void submit(event)} noValidate>
      <FormError text={formError} />
      <div key={undone}>
        <QuietHoursFields you={you} problems={problems} />
        <DigestChoices you={you} problem={problems.digestBy} />
      </div>
      <div class="actions">
        <button type="submit" class="main" disabled={sending}>
          {saveLabel}
        </button>
      </div>
    </form>
  );
}

function readTimes(data: FormData, you: PersonView) {
  const [from, to] = [readText(data, "quietHours.from"), readText(data, "quietHours.to")];
  return {
    quietHours: from === "" && to === "" ? null : { from, to },
    urgentBreaks: data.has("urgentBreaks"),
    digestBy: (data.get("digestBy") ?? you.digestBy) as PersonView["digestBy"],
  };
}

const DigestChoices = ({ you, problem }: { readonly you: PersonView; readonly problem: string | undefined }) => (
  <FieldGroup legend={text.digestLegend} problem={problem}>
    {(["push", "email", "both", "none"] as const).map((channel) => (
      <Choice
        key={channel}
        type="radio"
        label={text.digestLabels[channel]}
        input={{ name: "digestBy", value: channel, defaultChecked: you.digestBy === channel }}
      />
    ))}
  </FieldGroup>
);

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
  const { undone, counted } = useUndoCount();
  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const email = readText(new FormData(event.currentTarget as HTMLFormElement), "mail");
    const before = me.email;
    const saved = await saving.send(() => laterApi.changeMe({ email: email === "" ? null : email }));
    if (saved === null) return;
    await refreshHome();
    const undo = async () => {
      const result = await laterApi.changeMe({ email: before });
      if (result.kind === "ok") await refreshHome();
      return result;
    };
    noteSaved(email === "" ? text.emailRemovedText : text.emailSavedText, counted(undo));
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
      <EmailActions me={me} saving={saving.sending} />
    </form>
  );
}

function EmailActions({ me, saving }: { readonly me: MeView; readonly saving: boolean }) {
  const { sending, formError, send } = useFormSubmit();
  const sendTest = async () => {
    const test = await send(() => laterApi.testMail());
    if (test !== null) announce(test.text);
  };
  return (
    <>
      <FormError text={formError} />
      <div class="actions">
        <button type="submit" disabled={saving}>
          {text.saveEmailLabel}
        </button>
        {me.canEmail && me.email !== null && (
          <button type="button" disabled={sending} onClick={() => void sendTest()}>
            {text.testEmailLabel}
          </button>
        )}
      </div>
    </>
  );
}
