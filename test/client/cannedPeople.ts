import type { PeopleView } from "../../server/contract/api.ts";

const hourMs = 3_600_000;
const iso = (at: number) => new Date(at).toISOString();

/** Ada first, then Bo, who sleeps; Cilla has nothing that could be told. */
export function peopleView(now: number, you = "keeper"): PeopleView {
  return {
    yard: "alder-croft",
    people: [
      {
        id: "keeper",
        name: "Ada",
        you: you === "keeper",
        role: "keeper",
        turn: 1,
        quiet: null,
        urgentBreaks: true,
        digestBy: "both",
        phones: 2,
        hasMail: true,
        reach: { kind: "proved", words: "A phone showed a notice 2 hours ago." },
      },
      {
        id: "bo",
        name: "Bo",
        you: you === "bo",
        role: "helper",
        turn: 2,
        quiet: { from: "22:00", to: "06:30" },
        urgentBreaks: false,
        digestBy: "push",
        phones: 1,
        hasMail: false,
        reach: { kind: "unproved", words: "The phone was sent notices for 4 days and has shown none of them." },
      },
      {
        id: "cilla",
        name: "Cilla",
        you: you === "cilla",
        role: "helper",
        turn: 3,
        quiet: null,
        urgentBreaks: true,
        digestBy: "none",
        phones: 0,
        hasMail: false,
        reach: { kind: "lost", words: "Neither a phone nor a mail address is known." },
      },
    ],
    invites: [{ id: "link-1", role: "helper", madeAt: iso(now - 128 * hourMs), expiresAt: iso(now + 40 * hourMs) }],
  };
}
