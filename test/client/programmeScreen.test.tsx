// @vitest-environment happy-dom
import { fireEvent, screen, waitFor, within } from "@testing-library/preact";
import { beforeEach, describe, expect, it } from "vitest";
import { memoryStore } from "../../client/offline/localStore.ts";
import { announcement } from "../../client/state/announcement.ts";
import { openTraining, trainingError, trainings } from "../../client/state/training.ts";
import { percentProblem } from "../../client/text/percentProblem.ts";
import type { ProgrammeChangeRequest } from "../../server/contract/trainingRequest.ts";
import { programmeChangeRequest } from "../../server/contract/trainingRequest.ts";
import { type FakeConnection, openPage, problem, withFakeConnection } from "./page.tsx";
import { stagesFixture, trainingViewFixture } from "./trainingFixture.ts";
import "../../client/screens/recordScreens.tsx";

let server: FakeConnection;
withFakeConnection((opened) => {
  server = opened;
});

const path = "/yards/alder-croft/training";
beforeEach(async () => {
  await openTraining(memoryStore());
  trainings.value = new Map();
  trainingError.value = null;
  announcement.value = "";
  const body = trainingViewFixture(Date.now());
  server.replies[`GET ${path}`] = () => ({ status: 200, body });
  server.replies[`POST ${path}/changes`] = () => ({ status: 200, body });
});

const stageItems = () => [...document.querySelectorAll<HTMLElement>(".stage-list > li")];
const names = () => stageItems().map((item) => item.querySelector("summary")?.textContent?.trim());
const fieldOf = (stage: number, label: string | RegExp) =>
  within(stageItems()[stage] as HTMLElement).getByLabelText<HTMLInputElement>(label);
const saveAs = (reason: string) => {
  fireEvent.input(screen.getByLabelText("Reason"), { target: { value: reason } });
  fireEvent.click(screen.getByRole("button", { name: "Save" }));
};
const sent = () => server.posts().map(({ body }) => body as ProgrammeChangeRequest);
const sentStages = () => {
  const content = sent()[0]?.content;
  if (content?.kind !== "stagesEdited") throw new Error(`expected edited stages, got ${content?.kind}`);
  return content.stages;
};

describe("the programme of a yard", () => {
  it("sends the whole row with what was changed, as the server takes it", async () => {
    await openPage(`${path}/programme`);
    await screen.findByRole("heading", { name: "Stages" });
    fireEvent.input(fieldOf(1, "Share of bouts with the act"), { target: { value: "55" } });
    fireEvent.change(fieldOf(1, "Press of the button"), { target: { value: "variable" } });
    fireEvent.input(fieldOf(1, "How many"), { target: { value: "3" } });
    saveAs("They press often by now");
    await screen.findByText("Programme saved.");
    expect(sent()).toHaveLength(1);
    expect(programmeChangeRequest.safeParse(sent()[0]).success).toBe(true);
    expect(sent()[0]).toMatchObject({ reason: "They press often by now" });
    const second = stagesFixture[1];
    expect(sentStages()).toEqual(
      stagesFixture.map((stage) =>
        stage !== second
          ? stage
          : {
              ...second,
              criterion: { ...second.criterion, share: 0.55 },
              earns: {
                ...second.earns,
                press: { ratio: { kind: "variable", of: 3 }, atLeastSecondsBetween: 2 },
              },
            },
      ),
    );
  });

  it("moves, adds and removes stages, and what was typed goes with its stage", async () => {
    await openPage(`${path}/programme`);
    await screen.findByRole("heading", { name: "Stages" });
    fireEvent.input(fieldOf(4, "Name"), { target: { value: "Fetch from the lawn" } });
    fireEvent.click(screen.getByRole("button", { name: "Move up Fetch a cap" }));
    await waitFor(() => expect(names()[3]).toMatch(/^4\. Fetch a cap/));
    fireEvent.click(screen.getByRole("button", { name: "Remove Press for food" }));
    fireEvent.click(screen.getByRole("button", { name: "Add a stage" }));
    await waitFor(() => expect(names()).toHaveLength(5));
    saveAs("To fit this garden");
    await screen.findByText("Programme saved.");
    expect(sentStages().map(({ name }) => name)).toEqual([
      "Come for free food",
      "Nudge a cap in",
      "Fetch from the lawn",
      "Drop a cap",
      "New stage",
    ]);
    expect(new Set(sentStages().map(({ id }) => id)).size).toBe(5);
    expect(programmeChangeRequest.safeParse(sent()[0]).success).toBe(true);
  });

  it("doesn't offer to remove the present stage", async () => {
    await openPage(`${path}/programme`);
    await screen.findByRole("heading", { name: "Stages" });
    expect(screen.queryByRole("button", { name: "Remove Nudge a cap in" })).toBeNull();
    screen.getByRole("button", { name: "Remove Drop a cap" });
  });

  it("puts the ready stages into the form, and sends nothing before they are saved", async () => {
    await openPage(`${path}/programme`);
    await screen.findByRole("heading", { name: "Stages" });
    fireEvent.input(fieldOf(2, "Name"), { target: { value: "Other" } });
    fireEvent.click(screen.getByRole("button", { name: "Ready stages again" }));
    await waitFor(() => expect(fieldOf(2, "Name").value).toBe("Nudge a cap in"));
    expect(server.posts()).toEqual([]);
    saveAs("Start over");
    await screen.findByText("Programme saved.");
    expect(sentStages()[2]?.parameters.distanceCm).toBeNull();
  });

  it("shows a problem at its field, in per cent where the field is, also after the stage was moved", async () => {
    const errors = [{ field: "content.stages.0.criterion.share", problem: "must be at least 0.05" }];
    server.replies[`POST ${path}/changes`] = () => ({ status: 400, body: { ...problem(400, "no"), errors } });
    await openPage(`${path}/programme`);
    await screen.findByRole("heading", { name: "Stages" });
    fireEvent.input(fieldOf(0, "Share of bouts with the act"), { target: { value: "2" } });
    saveAs("x");
    await screen.findByText("Share of bouts with the act: must be at least 5 %");
    expect(stageItems()[0]?.querySelector("details")?.open).toBe(true);
    expect(fieldOf(0, "Share of bouts with the act").value).toBe("2");
    fireEvent.click(screen.getByRole("button", { name: "Move down Come for free food" }));
    await waitFor(() => expect(names()[1]).toMatch(/^2\. Come/));
    expect(fieldOf(1, "Share of bouts with the act").getAttribute("aria-invalid")).toBe("true");
    expect(fieldOf(0, "Share of bouts with the act").getAttribute("aria-invalid")).toBeNull();
  });

  it("saves the least share of promises alone where only that was changed", async () => {
    await openPage(`${path}/programme`);
    fireEvent.input(await screen.findByLabelText("Least share of promises paid"), { target: { value: "95" } });
    saveAs("No caps unpaid");
    await screen.findByText("Programme saved.");
    expect(sent().map(({ content }) => content)).toEqual([{ kind: "keptMinChanged", keptMin: 0.95 }]);
  });

  it("sends two changes with ids of their own where both were changed", async () => {
    await openPage(`${path}/programme`);
    fireEvent.input(await screen.findByLabelText("Least share of promises paid"), { target: { value: "95" } });
    fireEvent.input(fieldOf(0, "Name"), { target: { value: "Come" } });
    saveAs("Both");
    await screen.findByText("Programme saved.");
    expect(sent().map(({ content }) => content.kind)).toEqual(["keptMinChanged", "stagesEdited"]);
    expect(new Set(sent().map(({ id }) => id)).size).toBe(2);
  });

  it("sends nothing where nothing was changed", async () => {
    await openPage(`${path}/programme`);
    await screen.findByRole("heading", { name: "Stages" });
    saveAs("Why not");
    await screen.findByText("Nothing was changed.");
    expect(server.posts()).toEqual([]);
  });

  it("lists the dated changes with reason and effect, and undoes one", async () => {
    const changed = trainingViewFixture(Date.now(), { changes: [] });
    server.replies[`POST ${path}/changes/change-2/undo`] = () => ({ status: 200, body: changed });
    await openPage(`${path}/programme`);
    const list = within(await screen.findByRole("region", { name: "Dated changes" }));
    const item = list.getByText("Started: Nudge a cap in").closest("li") as HTMLElement;
    within(item).getByText("They press at every visit");
    within(item).getByText(
      /^Before 58\s% of the bouts, after 14\s%: a difference of −44 points, 95 % sure between −55/,
    );
    list.getByText(/^Undone .* by Ada\.$/);
    expect(list.getAllByRole("button", { name: "Undo", hidden: true })).toHaveLength(3); // not of the undone one
    fireEvent.click(within(item).getByRole("button", { name: "Undo", hidden: true }));
    await screen.findByText("Undone.");
    expect(server.posts()[0]?.path).toBe(`${path}/changes/change-2/undo`);
    await list.findByText("No change yet.");
  });

  it("is to read only for a helper", async () => {
    server.home = { ...server.home, yards: server.home.yards.map((yard) => ({ ...yard, role: "helper" })) };
    await openPage(`${path}/programme`);
    await screen.findByText("Only keepers of Alder Croft can change this.");
    screen.getByText("5 cm to the dish, 20 caps laid out, on the board beside the slot, slot 40 mm.");
    screen.getAllByText(/^Ready at 40\s% of the bouts over 3 days, at least 5 acts on each; back below 10\s%/);
    expect(document.querySelector("form, button[type=submit]")).toBeNull();
    expect(screen.queryByRole("button", { name: "Undo", hidden: true })).toBeNull();
  });
});

describe("a problem of a share", () => {
  it.each([
    ["must be at least 0.05", "must be at least 5 %"],
    ["must be at most 1", "must be at most 100 %"],
    ["must be below the share", "must be below the share"],
    [undefined, undefined],
  ])("%s is shown as %s", (problemOfShare, shown) => {
    expect(percentProblem(problemOfShare)).toBe(shown);
  });
});
