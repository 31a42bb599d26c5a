import type { PersonView, PhoneView } from "../../server/contract/api.ts";
import { checkTexts, type Violation, violation } from "./feederChecks.ts";
import { type EndpointKnowledge, minute } from "./knowledge.ts";
import { claimsReachable } from "./texts.ts";

/** @param known by endpoint; one that the checks never saw registered is itself a fault of the list */
export function checkPhone(
  view: Pick<PhoneView, "endpoint" | "label" | "reachability">,
  known: EndpointKnowledge | undefined,
  now: number,
): Violation[] {
  if (known === undefined) return [violation("gonePhone", view.label, view.endpoint, "nobody handed in this address")];
  const found: Violation[] = [];
  const claims = view.reachability.kind === "confirmed" || claimsReachable(view.reachability.text);
  if (claims && !known.isProved(now)) {
    found.push(violation("reach", view.label, view.reachability, "no display receipt for its present address"));
  }
  if (known.goneAt !== null && view.reachability.kind !== "lost") {
    found.push(violation("gonePhone", view.label, view.reachability, "its push service said that it is gone"));
  }
  return found;
}

export function checkPerson(
  view: Pick<PersonView, "name" | "reachability">,
  phones: readonly EndpointKnowledge[],
  now: number,
): Violation[] {
  const claims = view.reachability.kind === "confirmed" || claimsReachable(view.reachability.text);
  if (!claims || phones.some((phone) => phone.isProved(now))) return [];
  return [
    violation(
      "reach",
      view.name,
      view.reachability,
      "no phone of theirs has a display receipt for its present address",
    ),
  ];
}

/**
 * The phones' screen in the browser whose own address this is (null: it has none).
 * @param proved how many of this person's addresses have a display receipt
 */
export function checkPhonesScreen(
  text: string,
  own: EndpointKnowledge | null,
  proved: number,
  now: number,
): Violation[] {
  const found = checkTexts("screen of phones", [text]);
  const add = (shown: string, known: string) => found.push(violation("reach", "screen of phones", shown, known));
  const claims = text.split("\n").filter(claimsReachable);
  if (claims.length > proved) add(claims.join(" / "), `${proved} of their phones have a display receipt`);
  // What stands under "(this phone)" is about this very browser, up to its button.
  const [, ofThis = ""] = /\(this phone\)([\s\S]*?)(\nRemove|$)/.exec(text) ?? [];
  if (claimsReachable(ofThis) && !(own?.isProved(now) ?? false))
    add(ofThis, "no display receipt for this browser's address");
  return found;
}

/** An urgent alarm that no screen has shown, as the home page listed it before a phone became available. */
export interface UndisplayedAlarm {
  readonly feeder: string | null;
  readonly fault: string;
  readonly title: string;
  readonly raisedAt: string;
}

/** How long an urgent alarm waits for an answer before the next level: the README's own number. */
const levelLasts = 15 * minute;

/** A level begins when its people are really notified, a minute's step later at most, and a process that dies loses a step. */
const levelSlack = 3 * minute;

/**
 * When a phone that becomes available must have been pushed what nobody was shown: at once, unless people of earlier levels
 * may yet be shown it. Each of those levels has its whole time, and no more than that.
 */
export const renotifyDueAt = (availableAt: number, levelsBefore: number): number =>
  availableAt + levelsBefore * (levelLasts + levelSlack);

/** @param pushed what was handed to the new address by then */
export function checkRenotification(
  phone: string,
  unshown: readonly UndisplayedAlarm[],
  pushed: readonly { readonly feeder: string | null; readonly fault: string | null }[],
): Violation[] {
  return unshown
    .filter(
      ({ feeder, fault }) =>
        !pushed.some(
          (push) => push.fault === fault && (feeder === null || push.feeder === feeder || push.feeder === null),
        ),
    )
    .map(({ feeder, fault, title }) =>
      violation(
        "renotification",
        phone,
        pushed.map((push) => push.fault).join(", ") || "nothing was pushed",
        `${title} (${fault}, ${feeder ?? "the yard"}) stands and nobody was shown it`,
      ),
    );
}
