// @vitest-environment happy-dom
import { fireEvent, render, screen, waitFor, within } from "@testing-library/preact";
import { beforeEach, describe, expect, it } from "vitest";
import { YardLinks } from "../../client/components/yardLinks.tsx";
import { memoryStore } from "../../client/offline/localStore.ts";
import { announcement } from "../../client/state/announcement.ts";
import { openTraining, trainingError, trainings } from "../../client/state/training.ts";
import type { YardView } from "../../server/contract/api.ts";
import type { TrainingView } from "../../server/contract/trainingView.ts";
import { exportTableNames } from "../../server/domain/training/exportColumns.ts";
import { type FakeConnection, openPage, problem, withFakeConnection } from "./page.tsx";
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
const asHelper = () => {
  server.home = { ...server.home, yards: server.home.yards.map((yard) => ({ ...yard, role: "helper" })) };
};
beforeEach(async () => {
  await openTraining(memoryStore());
  trainings.value = new Map();
  trainingError.value = null;
  announcement.value = "";
  answer();
});
const notStarted: Partial<TrainingView> = {
  ...{ periods: [], changes: [], advice: null, judgement: null, days: [], actsByHour: null },
  ...{ ledger: [], effects: [], distance: null },
};
const changeSent = () => server.posts().filter((post) => post.path === `${path}/changes`);

/** The form in the fold with this summary. */
async function formOf(summary: string) {
  const fold = (await screen.findByText(summary, { selector: "summary" })).closest("details") as HTMLDetailsElement;
  fold.open = true;
  return within(fold);
}

describe("the training of a yard", () => {
  it("shows the present stage, the one advice with its reasons, and what would change it", async () => {
    await openPage(path);
    await screen.findByRole("heading", { name: "Nudge a cap in" });
    screen.getByText("Stage 3 of 5");
    screen.getByText(/^Since \w{3} \d+ \w{3}: 17 days · 7 to 14 days are usual$/);
    const advice = within(screen.getByRole("region", { name: "Advice: Move on to the next stage" }));
    advice.getByText(/^In 46 % of the bouts/);
    advice.getByText("A fall below the criterion.");
  });

  it("shows the season's one quiet line", async () => {
    answer({ seasonText: "Nestlings may be fed from now on." });
    await openPage(path);
    expect((await screen.findByText("Nestlings may be fed from now on.")).className).toBe("hint");
  });

  it("offers each table of the record as a file, and their dictionary", async () => {
    await openPage(path);
    const fold = await formOf("Download the record");
    const links = fold.getAllByRole("link").filter((link) => link.hasAttribute("download"));
    const hrefs = links.map((link) => link.getAttribute("href"));
    const file = "/api/v1/yards/alder-croft/training/export";
    for (const table of exportTableNames)
      for (const format of ["csv", "jsonl"]) expect(hrefs).toContain(`${file}?table=${table}&format=${format}`);
    expect(hrefs).toContain(`${file}/dictionary`);
    expect(links).toHaveLength(2 * exportTableNames.length + 2);
    const archive = fold.getByRole("link", { name: "Download all as one file" });
    expect(archive.getAttribute("href")).toBe(`${file}/archive`);
    expect(fold.getByRole("link", { name: "CSV Notes" }).getAttribute("download")).toBe("notes.csv");
  });

  describe("the import of a record", () => {
    const importing = `POST ${path}/import`;
    const choose = async () => {
      await openPage(path);
      const fold = await formOf("Import a record");
      const file = new File(["PK"], "training-record.zip");
      Object.defineProperty(fold.getByLabelText("File"), "files", { value: [file] });
      fireEvent.click(fold.getByRole("button", { name: "Import" }));
      return fold;
    };

    it("says what can't come back, and then what was added and what was left out", async () => {
      const counts = { changes: 1, feeders: 1, events: 87, notes: 2, photos: 1, stills: 0 };
      const body = { ...counts, picturesLeftOut: 1, eventsLeftOut: 0 };
      server.replies[importing] = () => ({ status: 200, body });
      const fold = await choose();
      fold.getByText(/^What can't come back: readings/);
      await fold.findByText(
        "Added: 1 change of the programme, 87 events, 2 notes, 1 photograph, 0 pictures of cameras. " +
          "1 picture could not be read, or there is no space.",
      );
      expect(announcement.value).toBe("Record imported.");
    });

    it("names each line that isn't understood, and says that nothing was stored", async () => {
      const errors = [
        { field: "notes.jsonl, line 2, at", problem: "must be a moment such as 2026-12-03T09:00:00.000Z" },
      ];
      const detail = "The record was not understood, so nothing of it was stored.";
      const body = { type: "about:blank", title: "", status: 422, detail, errors };
      server.replies[importing] = () => ({ status: 422, body });
      const fold = await choose();
      await fold.findByText(detail);
      fold.getByText(/^notes\.jsonl, line 2, at: /);
    });

    it("is for keepers", async () => {
      asHelper();
      await openPage(path);
      await screen.findByText("Download the record");
      expect(screen.queryByText("Import a record")).toBeNull();
    });
  });

  it("starts the advised stage with a tapped reason, and changes the plans only if that is wanted", async () => {
    await openPage(path);
    const form = await formOf("Start Drop a cap");
    form.getByText(/A portion for each cap; free food about every 240 minutes\./);
    fireEvent.click(form.getByLabelText("Change the feeding plans too"));
    fireEvent.click(form.getByRole("button", { name: "They do it at most visits" }));
    fireEvent.click(form.getByRole("button", { name: "Start Drop a cap" }));
    await screen.findByText("Drop a cap started.");
    expect(changeSent()).toHaveLength(1);
    expect(changeSent()[0]?.body).toEqual({
      id: expect.stringMatching(/^[\w-]{8,64}$/),
      reason: "They do it at most visits",
      content: { kind: "stageStarted", stage: "dropCap", changesPlans: false },
    });
  });

  it("keeps what was typed after a failed save, names the field, and repeats the same change", async () => {
    server.replies[changes] = () => ({
      status: 400,
      body: { ...problem(400, "no"), errors: [{ field: "reason", problem: "must not be empty" }] },
    });
    await openPage(path);
    const form = await formOf("Change it");
    const distance = form.getByLabelText<HTMLInputElement>("Distance to the dish");
    fireEvent.input(distance, { target: { value: "12,5" } });
    fireEvent.click(form.getByRole("button", { name: "Save" }));
    await form.findByText("Reason: must not be empty");
    expect(form.getByLabelText("Reason").getAttribute("aria-invalid")).toBe("true");
    server.offline = true;
    fireEvent.click(form.getByRole("button", { name: "Save" }));
    await form.findByText("Can't reach the server. Nothing was changed. Try again.");
    server.offline = false;
    expect(distance.value).not.toBe("5");
    answer();
    fireEvent.input(form.getByLabelText("Reason"), { target: { value: "too easy" } });
    fireEvent.click(form.getByRole("button", { name: "Save" }));
    await screen.findByText("Saved.");
    const [first, second] = changeSent().map(({ body }) => body as { id: string });
    expect(second?.id).toBe(first?.id);
  });

  it("sends what is shaped now, empty fields as not measured, and the moment at which it was done", async () => {
    await openPage(path);
    const form = await formOf("Change it");
    fireEvent.input(form.getByLabelText("Distance to the dish"), { target: { value: "15" } });
    fireEvent.input(form.getByLabelText("Slot opening"), { target: { value: "" } });
    fireEvent.input(form.getByLabelText("Reason"), { target: { value: "they took most by noon" } });
    fireEvent.input(form.getByLabelText("Date"), { target: { value: "2026-01-15" } });
    fireEvent.input(form.getByLabelText("Time"), { target: { value: "07:30" } });
    fireEvent.click(form.getByRole("button", { name: "Save" }));
    await screen.findByText("Saved.");
    expect(changeSent()[0]?.body).toMatchObject({
      at: "2026-01-15T06:30:00.000Z",
      content: {
        kind: "parametersChanged",
        stage: "nudgeCap",
        parameters: {
          distanceCm: 15,
          capsLaid: 20,
          capsWhere: "on the board beside the slot",
          slotOpeningMm: null,
          gramsEach: null,
        },
      },
    });
  });

  it("goes a stage back where that is advised, and offers to pause where caps are not paid", async () => {
    const advice = { kind: "stepBack", title: "Go one stage back", reasons: [], wouldChange: [] } as const;
    answer({ advice: { ...advice, pauseStage: true, to: { stage: "pressForFood", name: "Press for food" } } });
    await openPage(path);
    const form = await formOf("Go back to Press for food");
    fireEvent.click(form.getByRole("button", { name: "Too much at once" }));
    fireEvent.click(form.getByRole("button", { name: "Go back to Press for food" }));
    await screen.findByText("Press for food started.");
    expect(changeSent()[0]?.body).toMatchObject({ content: { stage: "pressForFood", changesPlans: true } });
    screen.getByText("Better pause this stage");
    fireEvent.click(screen.getByRole("button", { name: /^Pause all feeders/ }));
    fireEvent.click(await screen.findByRole("button", { name: "Pause all" }));
    await waitFor(() => expect(server.posts().at(-1)?.path).toBe("/yards/alder-croft/orders"));
  });

  it("offers no pause where the advice has none", async () => {
    await openPage(path);
    await screen.findByText("Stage 3 of 5");
    expect(screen.queryByText("Better pause this stage")).toBeNull();
    expect(screen.queryByRole("button", { name: /^Pause all/ })).toBeNull();
  });

  it("has the cautions where caps are laid out, and none about caps where there are none", async () => {
    await openPage(path);
    const caps = await formOf("Start Drop a cap");
    caps.getByText(/crimped and rusty edges cut.*alcohol.*No glass, no lead/);
    caps.getByText(/In hard frost, birds must never have to work for all/);
    const other = await formOf("Start another stage");
    expect(other.getByLabelText<HTMLSelectElement>("Stage").value).toBe("comeForFood");
    expect(other.queryByText(/crimped/)).toBeNull();
    expect(other.getByRole("link", { name: "Safety information" }).getAttribute("href")).toBe("/cautions");
  });

  it("offers to start with the first stage, with a plain word on what a programme is", async () => {
    answer({ ...notStarted, feedersWithoutPlan: ["Larch"] });
    await openPage(path);
    await screen.findByText(/^A programme is a row of stages from free food to caps/);
    const form = await formOf("Start with Come for free food");
    form.getByRole("button", { name: "To begin with" });
    const notice = screen.getByText(/^Larch has no feeding plan/);
    expect(within(notice).getByRole("link").getAttribute("href")).toBe("/feeders/larch/plan");
    expect(screen.queryByRole("heading", { name: "The bargain" })).toBeNull();
  });

  it("shows the record of a stage that was removed from the programme since", async () => {
    const { stages } = trainingViewFixture(Date.now());
    answer({ stages: stages.filter(({ id }) => id !== "nudgeCap"), advice: null });
    await openPage(path);
    await screen.findByText("A stage that is no longer in the programme");
    screen.getByRole("img", { name: "How often they do it" });
    expect(screen.queryByText("What you shape now")).toBeNull();
  });

  it("warns before a stage without any free food", async () => {
    const { stages } = trainingViewFixture(Date.now());
    answer({ stages: stages.map((stage) => ({ ...stage, earns: { ...stage.earns, free: null } })) });
    await openPage(path);
    (await formOf("Start Drop a cap")).getByText(/^This stage gives no free food\. In hard frost/);
  });

  it("names what keeps the record from being whole", async () => {
    server.home = { ...server.home, yards: server.home.yards.map((yard) => ({ ...yard, feeders: [] })) };
    answer({ unreadableDays: 2 });
    await openPage(path);
    await screen.findByText(/^There is no feeder in this yard yet/);
    screen.getByText(/^2 days could not be read from the log/);
  });

  it("is to read only for a helper", async () => {
    asHelper();
    await openPage(path);
    await screen.findByText("Only keepers of Alder Croft can change this.");
    expect(screen.queryByText("Change it")).toBeNull();
    expect(screen.queryByText(/^Start /, { selector: "summary" })).toBeNull();
    expect(document.querySelector("form")).toBeNull();
    screen.getByRole("img", { name: "How often they do it" });
  });

  it("can be read offline as it was last loaded, and shows when that was", async () => {
    const store = memoryStore();
    const asOf = Date.now() - 26 * 3_600_000;
    await store.put("training", [["alder-croft", { view: trainingViewFixture(asOf), asOf }]]);
    await store.put("home", { view: server.home, asOf });
    server.offline = true;
    await openTraining(store);
    await openPage(path, store);
    await screen.findByText("Stage 3 of 5");
    await screen.findByText(/^Data from (yesterday|\w{3} \d+)/, { selector: ".hint" });
  });

  it("is stored on the phone once it is loaded, and says so where nothing is", async () => {
    const store = memoryStore();
    await openTraining(store);
    await openPage(path, store);
    await screen.findByText("Stage 3 of 5");
    expect(await store.get("training")).toMatchObject([["alder-croft", { view: { yard: "alder-croft" } }]]);
  });

  it("shows that it is not on the phone where it is offline and nothing is stored", async () => {
    const store = memoryStore();
    await store.put("home", { view: server.home, asOf: Date.now() });
    server.offline = true;
    await openPage(path, store);
    await screen.findByText("The training record is not saved on this phone, and there is no connection.");
  });

  it("is linked from home, from its yard and from its feeders, not from practice", async () => {
    const [yard] = server.home.yards;
    if (yard === undefined) throw new Error("expected a yard");
    const links = render(<YardLinks yard={yard} />);
    expect(screen.getByRole("link", { name: "Training" }).getAttribute("href")).toBe(path);
    links.unmount();
    render(<YardLinks yard={{ ...yard, practice: true }} />);
    expect(screen.queryByRole("link", { name: "Training" })).toBeNull();
    await openPage("/training"); // one of the four places, and the only yard's record in it
    await screen.findByRole("heading", { level: 1, name: /Alder Croft/ });
  });

  it("asks which yard where there are several", async () => {
    const [yard, ...others] = server.home.yards as [YardView, ...YardView[]];
    server.home = { ...server.home, yards: [yard, { ...yard, id: "birch-end", name: "Birch End" }, ...others] };
    await openPage("/training");
    const link = await screen.findByRole("link", { name: "Birch End" });
    expect(link.getAttribute("href")).toBe("/yards/birch-end/training");
    expect(screen.queryByRole("link", { name: /Practice yard/ })).toBeNull();
  });
});

describe("the pictures of a training record", () => {
  const picture = (name: string) => within(screen.getByRole("figure", { name }));

  it("have each one sentence, a name, a table, and places that can be read by keyboard", async () => {
    await openPage(path);
    await screen.findByRole("img", { name: "How often they do it" });
    for (const name of ["How often they do it", "Promises kept by day", "Over the day", "Distance and response"]) {
      const image = picture(name).getByRole("img", { name });
      const sentence = document.getElementById(image.getAttribute("aria-describedby") ?? "");
      expect(sentence?.textContent).toMatch(/\.$/);
      expect(picture(name).getAllByRole("row").length).toBeGreaterThan(5);
      const slider = picture(name).getByRole("slider");
      const before = slider.getAttribute("aria-valuetext");
      fireEvent.input(slider, { target: { value: "3" } });
      expect(slider.getAttribute("aria-valuetext")).not.toBe(before);
      const shown = slider.parentElement?.querySelector("p")?.textContent;
      expect(shown).toBe(slider.getAttribute("aria-valuetext"));
    }
  });

  it("follow a finger", async () => {
    await openPage(path);
    await screen.findByRole("img", { name: "Over the day" });
    fireEvent.pointerDown(picture("Over the day").getByRole("img"), { clientX: 320 });
    expect(picture("Over the day").getByRole<HTMLInputElement>("slider").value).toBe("23");
    fireEvent.pointerDown(picture("Over the day").getByRole("img"), { clientX: 0 });
    expect(picture("Over the day").getByRole<HTMLInputElement>("slider").value).toBe("0");
  });

  it("draw a dot for each day with bouts, hollow where it doesn't count, and say the changes of a day", async () => {
    const view = trainingViewFixture(Date.now());
    await openPage(path);
    const image = await screen.findByRole("img", { name: "How often they do it" });
    const withBouts = view.days.filter(({ trials }) => trials !== null && trials > 0);
    expect(image.querySelectorAll("circle.dot")).toHaveLength(withBouts.length);
    expect(image.querySelectorAll("circle.dot:not(.hollow)")).toHaveLength(
      view.days.filter((day) => day.counts).length,
    );
    expect(image.querySelectorAll(".change-mark")).toHaveLength(3); // the undone one isn't drawn
    expect(image.querySelectorAll(".change-point")).toHaveLength(1);
    expect(image.querySelectorAll(".criterion")).toHaveLength(3);
    const slider = picture("How often they do it").getByRole("slider");
    fireEvent.input(slider, { target: { value: `${view.days.length - 1 - 6}` } });
    expect(slider.getAttribute("aria-valuetext")).toMatch(
      /from here on 44\s% instead of 19\s%; changed: Nudge a cap in: 5 cm to the dish/,
    );
  });

  it("are acts a day where no perch switch sees the visits", async () => {
    const { days, judgement } = trainingViewFixture(Date.now());
    answer({
      days: days.map((day) => ({ ...day, trials: null, successes: null })),
      judgement: judgement && { ...judgement, recent: judgement.recent && { ...judgement.recent, share: null } },
    });
    await openPage(path);
    await screen.findByText(/^No perch switch sees the visits, so these are acts a day: at least 8 lately/);
    expect(document.querySelectorAll(".change-point")).toHaveLength(0);
    expect(picture("How often they do it").getByRole("columnheader", { name: "Acts" })).toBeTruthy();
  });

  it("show each promise that was not paid", async () => {
    await openPage(path);
    const image = await screen.findByRole("img", { name: "Promises kept by day" });
    expect(image.querySelectorAll(".unpaid")).toHaveLength(3);
    picture("Promises kept by day").getByText(/^\d+ of \d+ promises of these weeks were paid; on 3 days not all/);
  });

  it("shade the night, where the light of the place is known", async () => {
    await openPage(path);
    const image = await screen.findByRole("img", { name: "Over the day" });
    await waitFor(() => expect(image.querySelectorAll(".night").length).toBeGreaterThan(0));
  });

  it("leave out the curve of distances where too few were tried", async () => {
    answer({ distance: null, actsByHour: null });
    await openPage(path);
    await screen.findByRole("img", { name: "Promises kept by day" });
    expect(screen.queryByRole("img", { name: "Distance and response" })).toBeNull();
    expect(screen.queryByRole("img", { name: "Over the day" })).toBeNull();
  });
});
