import type { MeView, PeopleView, PersonView } from "../../server/contract/api.ts";
import type { ApiResult } from "../api/api.ts";
import { laterApi } from "../api/laterApi.ts";
import { announce } from "../state/announcement.ts";
import { refreshHome } from "../state/home.ts";
import { digestChannelText } from "../text/people.ts";
import { Choice, Field, FieldGroup, FormError, readText, useFormSubmit } from "./field.tsx";

/** When and by what the keeper wants to be told: nobody else's business. */
export function OwnNotificationSettings(props: {
  readonly yard: string;
  readonly you: PersonView;
  readonly me: MeView;
  readonly changed: (people: PeopleView) => void;
}) {
  const { yard, you, me, changed } = props;
  const telling = useFormSubmit();
  const mailing = useFormSubmit();
  const trying = useFormSubmit();

  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const data = new FormData(event.currentTarget as HTMLFormElement);
    const [from, to] = [readText(data, "quietHours.from"), readText(data, "quietHours.to")];
    const answer = await telling.send(() =>
      laterApi.changePerson(yard, you.id, {
        quietHours: from === "" && to === "" ? null : { from, to },
        urgentBreaks: data.has("urgentBreaks"),
        digestBy: (data.get("digestBy") ?? you.digestBy) as PersonView["digestBy"],
      }),
    );
    if (answer === null) return;
    changed(answer);
    announce("Written down.");
  };
  const submitMail = async (event: SubmitEvent) => {
    event.preventDefault();
    const mail = readText(new FormData(event.currentTarget as HTMLFormElement), "email");
    const answer = await mailing.send(() => laterApi.changeMe({ email: mail === "" ? null : mail }));
    if (answer === null) return;
    await refreshHome();
    announce(mail === "" ? "No mail from now on." : "Address written down.");
  };
  const tryMail = async () => {
    const answer = await trying.send(async (): Promise<ApiResult<{ readonly text: string }>> => laterApi.testMail());
    if (answer !== null) announce(answer.text);
  };

  return (
    <section class="after" aria-labelledby="own-title">
      <h2 id="own-title">How you are told</h2>
      <form ref={telling.form} onSubmit={(event) => void submit(event)} noValidate>
        <FormError text={telling.said} />
        <FieldGroup
          legend="Your quiet hours"
          hint="By the yard's clock. What comes then waits until they end. Leave both empty for none."
          problem={telling.problems.quietHours}
        >
          <div class="side-by-side">
            <Field
              label="From"
              problem={telling.problems["quietHours.from"]}
              input={{ name: "quietHours.from", type: "time", defaultValue: you.quietHours?.from ?? "" }}
            />
            <Field
              label="To"
              problem={telling.problems["quietHours.to"]}
              input={{ name: "quietHours.to", type: "time", defaultValue: you.quietHours?.to ?? "" }}
            />
          </div>
          <Choice
            type="checkbox"
            label="Urgent alarms may break them"
            hint="Without this, an urgent alarm goes to the next of you at once while you sleep."
            input={{ name: "urgentBreaks", defaultChecked: you.urgentBreaks }}
          />
        </FieldGroup>
        <FieldGroup legend="The daily digest" problem={telling.problems.digestBy}>
          {(["push", "email", "both", "none"] as const).map((way) => (
            <Choice
              key={way}
              type="radio"
              label={digestLabels[way]}
              input={{ name: "digestBy", value: way, defaultChecked: you.digestBy === way }}
            />
          ))}
        </FieldGroup>
        <div class="answers">
          <button type="submit" class="main" disabled={telling.sending}>
            Write it down
          </button>
        </div>
      </form>
      <form ref={mailing.form} onSubmit={(event) => void submitMail(event)} noValidate>
        <h3>Mail, where no phone answers</h3>
        <FormError text={mailing.said} />
        <Field
          label="Your address"
          hint={
            me.canEmail
              ? "An urgent alarm that no phone of yours has shown comes here too. Only you see it."
              : "This server has no way to send mail yet: whoever runs it can give it one. The address is kept until then."
          }
          problem={mailing.problems.email}
          input={{ name: "email", type: "email", autocomplete: "email", maxLength: 254, defaultValue: me.email ?? "" }}
        />
        <FormError text={trying.said} />
        <div class="answers">
          <button type="submit" disabled={mailing.sending}>
            Write the address down
          </button>
          {me.canEmail && me.email !== null && (
            <button type="button" disabled={trying.sending} onClick={() => void tryMail()}>
              Send a test letter
            </button>
          )}
        </div>
      </form>
    </section>
  );
}

const digestLabels: Readonly<Record<PersonView["digestBy"], string>> = {
  push: `Send it ${digestChannelText.push}`,
  email: `Send it ${digestChannelText.email}`,
  both: `Send it ${digestChannelText.both}`,
  none: "I read it here when I like",
};
