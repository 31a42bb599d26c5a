// @vitest-environment happy-dom
import { screen, within } from "@testing-library/preact";
import { beforeEach, describe, expect, it } from "vitest";
import { memoryStore } from "../../client/offline/localStore.ts";
import { announcement } from "../../client/state/announcement.ts";
import { openTraining, trainingError, trainings } from "../../client/state/training.ts";
import { localDate, shiftDate } from "../../client/text/clock.ts";
import type { TrainingView } from "../../server/contract/trainingView.ts";
import { type FakeConnection, openPage, withFakeConnection } from "./page.tsx";
import { trainingViewFixture } from "./trainingFixture.ts";
import "../../client/screens/recordScreens.tsx";

let server: FakeConnection;
withFakeConnection((opened) => {
  server = opened;
});

const path = "/yards/alder-croft/training";
const changes = `POST ${path}/changes`;
const answer = (change: Partial<TrainingView> = {}) => {
  const body = trainingViewFixture(Date.now(), change);
  server.replies[`GET ${path}`] = () => ({ status: 200, body });
  server.replies[changes] = () => ({ status: 200, body });
};
beforeEach(async () => {
  await openTraining(memoryStore());
  trainings.value = new Map();
  trainingError.value = null;
  announcement.value = "";
  answer();
});
describe("the figures of a training record", () => {
  it("say how many caps lay on the dish, by day, and nothing where none did", async () => {
    const today = localDate(Date.now(), "Europe/Stockholm");
    const capsOnDish = [
      { date: shiftDate(today, -1), caps: 2 },
      { date: today, caps: 1 },
    ];
    answer({ capsOnDish: [{ date: shiftDate(today, -2), caps: 0 }, ...capsOnDish] });
    await openPage(path);
    const bargain = within(await screen.findByRole("region", { name: "The bargain" }));
    const row = bargain.getByText("Caps on the dish, not in the slot", { selector: "dt" }).nextSibling?.textContent;
    expect(row).toBe("3 (today: 1; yesterday: 2)");
  });

  it("say how the bargain was kept, with intervals, latencies and the literature's doubt", async () => {
    await openPage(path);
    const bargain = within(await screen.findByRole("region", { name: "The bargain" }));
    const row = (name: string) => bargain.getByText(name, { selector: "dt" }).nextSibling?.textContent;
    expect(row("Promises paid")).toMatch(/^27 of 28, 96\s%$/);
    expect(row("True share, 95 % sure")).toMatch(/^82\s% to 99\s%$/);
    expect(row("From act to food, half of them within")).toBe("1.2 s");
    expect(row("95 of 100 within")).toBe("2.6 s");
    expect(row("The slowest")).toBe("9.3 s");
    bargain.getByText(/only 46\s% to 81\s% of one at once\. That range is from studies of other species/);
  });

  it("say how many promises were paid in each stage of the days that are shown", async () => {
    const { days } = trainingViewFixture(Date.now());
    const kept = (promised: number, paid: number) => ({ ...days[0]?.kept, promised, paid }) as (typeof days)[0]["kept"];
    const first = days[0]?.stage ?? "";
    const planted = days.map((day) => ({ ...day, kept: day.stage === first ? kept(2, 1) : kept(0, 0) }));
    answer({ days: planted });
    await openPage(path);
    const bargain = within(await screen.findByRole("region", { name: "The bargain" }));
    const list = bargain.getByText("Promises paid by stage").nextSibling?.nextSibling as HTMLElement;
    const count = planted.filter(({ stage }) => stage === first).length;
    expect(
      within(list)
        .getAllByRole("definition")
        .map(({ textContent }) => textContent),
    ).toEqual([expect.stringMatching(new RegExp(`^${count} of ${2 * count}, 50\\s%$`))]);
  });

  it("list broken promises with the alarm of that time, or with none", async () => {
    await openPage(path);
    const items = within(await screen.findByRole("region", { name: "The bargain" })).getAllByRole("listitem");
    expect(items[0]?.querySelector("a")?.getAttribute("href")).toMatch(
      /^\/yards\/alder-croft\/notes\?feeder=\w+&at=.*&kind=deposit&boot=b-1&seq=1$/,
    );
    expect(items.map(({ textContent }) => textContent)).toEqual([
      expect.stringMatching(/Larch: cap in the slot; no portion was given\. Alarm at that time: tray jammed\./),
      expect.stringMatching(/Rowan: cap in the slot; the motor ran, .* Nothing that was reported explains it\./),
      expect.stringMatching(/Rowan: press of the button; its portion was begun and not ended\./),
    ]);
    const pictures = within(items[1] as HTMLElement).getAllByRole("img");
    expect(pictures.map((picture) => picture.getAttribute("alt"))).toEqual([
      expect.stringMatching(/^Still of the deposit at \d\d:12, Rowan$/),
    ]);
    expect(pictures[0]?.getAttribute("src")).toBe("/api/v1/yards/alder-croft/stills/still-1/picture?size=small");
    expect(pictures[0]?.closest("a")?.getAttribute("href")).toBe("/yards/alder-croft/pictures");
    expect([items[0]?.querySelector("img"), items[2]?.querySelector("img")]).toEqual([null, null]);
  });

  it("state ΔP with its bin, count the rest for the present stage, and are of the site", async () => {
    await openPage(path);
    const part = within(await screen.findByRole("region", { name: "Does food depend on the act?" }));
    const row = (name: string) => part.getByText(name, { selector: "dt" }).nextSibling?.textContent;
    expect(row("ΔP")).toBe("0.71");
    part.getByText(/here span of 60 s/);
    expect(row("Free portions in this stage")).toBe(`${17 * 4}`);
    expect(row("Portions that no act explains")).toBe("1");
    screen.getByText(
      "All of these are figures of the site, not of single birds: no sensor tells one bird from another.",
    );
  });
});
