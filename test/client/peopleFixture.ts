import type { PeopleView } from "../../server/contract/api.ts";

const hourMs = 3_600_000;
const iso = (at: number) => new Date(at).toISOString();

/** Ada first, then Bo, who has quiet hours; Cilla can't be notified. */
export function peopleViewFixture(now: number, you = "keeper"): PeopleView {
  return {
    yard: "alder-croft",
    people: [
      {
        id: "keeper",
        name: "Ada",
        you: you === "keeper",
        role: "keeper",
        escalationOrder: 1,
        quietHours: null,
        urgentBreaks: true,
        digestBy: "both",
        phones: 2,
        hasEmail: true,
        reachability: { kind: "confirmed", text: "A phone showed a notification 2 hours ago." },
      },
      {
        id: "bo",
        name: "Bo",
        you: you === "bo",
        role: "helper",
        escalationOrder: 2,
        quietHours: { from: "22:00", to: "06:30" },
        urgentBreaks: false,
        digestBy: "push",
        phones: 1,
        hasEmail: false,
        reachability: {
          kind: "unconfirmed",
          text: "The phone has shown none of the notifications of the last 4 days.",
        },
      },
      {
        id: "cilla",
        name: "Cilla",
        you: you === "cilla",
        role: "helper",
        escalationOrder: 3,
        quietHours: null,
        urgentBreaks: true,
        digestBy: "none",
        phones: 0,
        hasEmail: false,
        reachability: { kind: "lost", text: "Neither a phone nor a mail address is known." },
      },
    ],
    invites: [{ id: "link-1", role: "helper", madeAt: iso(now - 128 * hourMs), expiresAt: iso(now + 40 * hourMs) }],
  };
}
