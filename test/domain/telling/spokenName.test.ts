import { expect, it } from "vitest";
import { spokenName } from "../../../server/domain/telling/spokenName.ts";

it("says of a practice feeder alone that it is practice, so that nobody runs out for it", () => {
  expect(spokenName({ name: "Rowan", practice: false })).toBe("Rowan");
  expect(spokenName({ name: "Rowan", practice: true })).toBe("Practice – Rowan");
});
