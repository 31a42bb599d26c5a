// @vitest-environment happy-dom
import { cleanup, render, screen } from "@testing-library/preact";
import { afterEach, describe, expect, it } from "vitest";
import { LinkedText } from "../../client/components/linkedText.tsx";

afterEach(cleanup);

describe("a text with links", () => {
  it("links each part in brackets to its own page, and shows no bracket", () => {
    const { container } = render(
      <LinkedText text="[Add one], or try a [practice feeder]." hrefs={["/new", "/practice"]} />,
    );
    expect(container.textContent).toBe("Add one, or try a practice feeder.");
    expect(screen.getByRole("link", { name: "Add one" }).getAttribute("href")).toBe("/new");
    expect(screen.getByRole("link", { name: "practice feeder" }).getAttribute("href")).toBe("/practice");
  });
});
