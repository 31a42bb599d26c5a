import { describe, expect, it } from "vitest";
import { problemText } from "../../client/text/fieldProblem.ts";
import { addFeederRequest, yardRequest } from "../../server/contract/api.ts";

/** What the contract reports for a value, as the keeper reads it. */
const problemsOf = (
  contract: { safeParse(value: unknown): { error?: { issues: readonly { message: string }[] } } },
  value: unknown,
) => contract.safeParse(value).error?.issues.map(({ message }) => problemText(message));

describe("the problem of a field", () => {
  it("is a plain text, whatever the schema library reports", () => {
    expect(
      problemsOf(addFeederRequest, {
        yard: "y",
        name: "",
        food: "p".repeat(61),
        hopperCapacityGrams: 3,
        portionGrams: 1_000,
        reportEverySeconds: 7.5,
        battery: "nuclear",
      }),
    ).toEqual([
      "must not be empty",
      "must be at most 60 characters",
      "must be at least 50",
      "must be at most 100",
      "choose one of the options",
      "must be a whole number",
    ]);
    expect(problemsOf(yardRequest, { place: { latitudeDegrees: null, longitudeDegrees: 400 } })).toEqual([
      "must be a number",
      "must be at most 180",
    ]);
  });

  it("keeps a text that is plain already", () => {
    expect(problemsOf(yardRequest, { zone: "Sweden" })).toEqual(["must be an IANA time zone such as Europe/Stockholm"]);
  });
});
