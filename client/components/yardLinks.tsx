import type { YardView } from "../../server/contract/api.ts";

/** What belongs to a yard as a whole, one line each. */
export function YardLinks({ yard }: { readonly yard: YardView }) {
  const to = (page: string) => `/yards/${yard.id}/${page}`;
  const links = [
    {
      href: to("digest"),
      words: "The digest",
      more: yard.digestWanted ? `each day at ${yard.digestTime}` : "none is written",
    },
    {
      href: to("recipients"),
      words: "Who is told",
      more: yard.peopleCount === 1 ? "nobody but you so far" : `${yard.peopleCount} people`,
    },
    { href: to("alarm-history"), words: "The alarms themselves", more: "how many, and what to change" },
  ];
  return (
    <ul class="page-links">
      {links.map(({ href, words, more }) => (
        <li key={href}>
          <a href={href}>{words}</a> <span class="since">{more}</span>
        </li>
      ))}
    </ul>
  );
}
