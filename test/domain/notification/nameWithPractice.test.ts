import { expect, it } from "vitest";
import { nameWithPractice } from "../../../server/domain/notification/nameWithPractice.ts";

it("marks only a practice feeder as practice, so that nobody runs out for it", () => {
  expect(nameWithPractice({ name: "Rowan", practice: false })).toBe("Rowan");
  expect(nameWithPractice({ name: "Rowan", practice: true })).toBe("Practice – Rowan");
});
