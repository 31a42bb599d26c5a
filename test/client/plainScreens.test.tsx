// @vitest-environment happy-dom
import { screen } from "@testing-library/preact";
import { describe, expect, it } from "vitest";
import { rawTime, statisticSymbols } from "../support/plainText.ts";
import { digestViewFixture } from "./digestFixture.ts";
import { type FakeConnection, openPage, withFakeConnection } from "./page.tsx";

let server: FakeConnection;
withFakeConnection((opened) => {
  server = opened;
});

const paths = [
  "/",
  "/feeders/rowan",
  "/feeders/larch",
  "/feeders/larch/settings",
  "/feeders/rowan/days",
  "/feeders/rowan/refill",
  "/feeders/new",
  "/yards/alder-croft",
  "/yards/alder-croft/recipients",
  "/yards/alder-croft/digest",
  "/yards/alder-croft/notes",
  "/phones",
  "/practice",
  "/cautions",
];

describe("every screen", () => {
  it.each(paths)("shows no raw time and no symbol of a statistic: %s", async (path) => {
    server.replies["GET /yards/alder-croft/digest"] = () => ({ status: 200, body: digestViewFixture(Date.now(), 0) });
    await openPage(path);
    await screen.findByRole("heading", { level: 1 });
    const shown = document.body.textContent ?? "";
    expect(shown.length).toBeGreaterThan(40);
    for (const pattern of [rawTime, ...statisticSymbols]) expect(shown).not.toMatch(pattern);
  });
});
