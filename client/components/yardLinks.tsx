import { recipientsLabel } from "#text/recipients.ts";
import * as text from "#text/yardLinks.ts";
import type { YardView } from "../../server/contract/api.ts";
import { home } from "../state/home.ts";

/** The pages of a yard as a whole, one line each. */
export function YardLinks({ yard }: { readonly yard: YardView }) {
  const links = [
    {
      href: `/yards/${yard.id}/digest`,
      label: text.digestLabel,
      detail: yard.digestWanted ? text.digestTimeText(yard.digestTime) : text.digestOffText,
    },
    {
      href: `/yards/${yard.id}/recipients`,
      label: recipientsLabel,
      detail: yard.peopleCount === 1 ? text.onlyYouText : text.peopleText(yard.peopleCount),
    },
    ...(yard.practice && home.value?.view.practice.programme?.yard !== yard.id
      ? []
      : [{ href: `/yards/${yard.id}/training`, label: text.trainingLabel, detail: text.trainingText }]),
    { href: `/yards/${yard.id}/notes`, label: text.notesLabel, detail: text.notesText },
    { href: `/yards/${yard.id}/alarm-history`, label: text.alarmHistoryLabel, detail: text.alarmHistoryText },
  ];
  return (
    <ul class="page-links">
      {links.map(({ href, label, detail }) => (
        <li key={href}>
          <a href={href}>{label}</a> <span class="since">{detail}</span>
        </li>
      ))}
    </ul>
  );
}
