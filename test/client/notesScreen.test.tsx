// @vitest-environment happy-dom
import { fireEvent, render, screen, waitFor, within } from "@testing-library/preact";
import { beforeEach, describe, expect, it, onTestFinished, vi } from "vitest";
import { YardLinks } from "../../client/components/yardLinks.tsx";
import { memoryStore } from "../../client/offline/localStore.ts";
import { notes, openNotes } from "../../client/state/notes.ts";
import { noteFixture, notesViewFixture } from "./notesFixture.ts";
import { type FakeConnection, openPage, problem, withFakeConnection } from "./page.tsx";

const path = "/yards/alder-croft/notes";
let server: FakeConnection;
withFakeConnection((opened) => {
  server = opened;
});
const answer = (request: string, view: unknown, status = 200) => {
  server.replies[`${request}`] = () => ({ status, body: view });
};
beforeEach(() => {
  notes.value = new Map();
  answer(
    `GET ${path}`,
    notesViewFixture([noteFixture("a", 0), noteFixture("b", 30, { feeder: { id: "rowan", name: "Rowan" } })], true),
  );
});

/** A browser that reads each file as a picture of this size. @returns the sizes of the canvases that were sent */
function stubCanvas(width: number, height: number): [number, number][] {
  const sizes: [number, number][] = [];
  vi.stubGlobal("createImageBitmap", async () => ({ width, height, close: () => undefined }));
  const canvas = HTMLCanvasElement.prototype;
  vi.spyOn(canvas, "getContext").mockReturnValue({ fillRect: () => undefined, drawImage: () => undefined } as never);
  vi.spyOn(canvas, "toBlob").mockImplementation(function (this: HTMLCanvasElement, done, type) {
    sizes.push([this.width, this.height]);
    done(new Blob(["small"], { type: type ?? "" }));
  });
  onTestFinished(() => void vi.restoreAllMocks());
  return sizes;
}

const write = async (written: string) => {
  fireEvent.input(await screen.findByLabelText("Note"), { target: { value: written } });
  fireEvent.click(screen.getByRole("button", { name: "Save" }));
};

describe("the notebook", () => {
  it("lists notes by day, the newest first, with who wrote them and what they are about", async () => {
    await openPage(path);
    await screen.findByText("note a");
    const headings = screen.getAllByRole("heading", { level: 2 }).map((each) => each.textContent);
    expect(headings[0]).toBe("Write a note");
    expect(headings).toHaveLength(3);
    const shown = document.body.textContent ?? "";
    expect(shown.indexOf("note a")).toBeLessThan(shown.indexOf("note b"));
    expect(screen.getByText(/, Ada · Rowan$/)).toBeTruthy();
  });

  it("writes a note about a feeder at a moment of the yard's clock, and empties the form", async () => {
    answer(`POST ${path}`, notesViewFixture([noteFixture("c", 0, { text: "two jays" })]));
    await openPage(path);
    await screen.findByText("note a");
    fireEvent.input(screen.getByLabelText("When"), { target: { value: "2026-01-14T08:30" } });
    fireEvent.change(screen.getByLabelText("About"), { target: { value: "rowan" } });
    await write("two jays");
    await screen.findByText("two jays");
    expect(server.posts()[0]).toMatchObject({
      body: { text: "two jays", at: "2026-01-14T07:30:00.000Z", feeder: "rowan" },
    });
    expect((screen.getByLabelText("Note") as HTMLTextAreaElement).value).toBe("");
  });

  it("counts caps on the dish, also without words, and shows a note's count", async () => {
    answer(`POST ${path}`, notesViewFixture([noteFixture("c", 0, { text: "two jays", capsOnDish: 3 })]));
    await openPage(path);
    await screen.findByText("note a");
    fireEvent.input(screen.getByLabelText("Caps on the dish"), { target: { value: "3" } });
    await write("");
    await screen.findByText(/, Ada · caps on the dish: 3$/);
    expect(server.posts()[0]).toMatchObject({ body: { text: "Caps counted.", capsOnDish: 3 } });
  });

  it("keeps what was entered, and its id, where the server can't be reached", async () => {
    answer(`POST ${path}`, notesViewFixture([noteFixture("c", 0, { text: "two jays" })]));
    await openPage(path);
    await screen.findByText("note a");
    server.offline = true;
    await write("two jays");
    expect(await screen.findByText(/Can't reach the server/, { selector: ".form-error" })).toBeTruthy();
    expect((screen.getByLabelText("Note") as HTMLTextAreaElement).value).toBe("two jays");
    server.offline = false;
    fireEvent.click(screen.getByRole("button", { name: "Save" }));
    await screen.findByText("two jays", { selector: ".note-text" });
    expect(server.posts()).toHaveLength(1);
  });

  it("is written at a still that its address names, and shows it", async () => {
    const picture = { id: "s1", widthPixels: 1_600, heightPixels: 1_200, at: "2026-01-14T07:30:00Z", kind: "deposit" };
    const feeder = { id: "rowan", name: "Rowan" };
    const event = { boot: "b-1", seq: 4 };
    const written = noteFixture("c", 0, { text: "two jays", feeder, still: { event, isEvent: false, picture } });
    const gone = noteFixture("d", 1, { feeder, still: { event, isEvent: false, picture: null } });
    answer(`POST ${path}`, notesViewFixture([written, gone]));
    await openPage(`${path}?still=s1&at=2026-01-14T07%3A30%3A00Z&kind=deposit&feeder=rowan`);
    await screen.findByText("note a");
    expect(screen.getByAltText("Still of the deposit at 08:30, Rowan")).toBeTruthy();
    expect(screen.queryByLabelText("About")).toBeNull();
    await write("two jays");
    const entry = (await screen.findByText("two jays", { selector: ".note-text" })).closest("li") as HTMLElement;
    expect(server.posts()[0]).toMatchObject({ body: { text: "two jays", still: "s1" } });
    const shown = within(entry).getByAltText("Still of the deposit at 08:30, Rowan");
    expect(shown.closest("a")?.getAttribute("href")).toBe("/yards/alder-croft/pictures");
    expect(screen.getByText(/is no longer kept/).closest("li")?.textContent).toContain("note d");
    await waitFor(() => expect(screen.getByLabelText("About")).toBeTruthy()); // the next note is about no still
    await write("three jays");
    await waitFor(() => expect(server.posts()).toHaveLength(2));
    expect(server.sent(1)).not.toHaveProperty("still");
  });

  it("names the still where it is deleted meanwhile, and can be written without it", async () => {
    const errors = [{ field: "still", problem: "there is no such picture any more" }];
    answer(`POST ${path}`, { ...problem(400, "still: there is no such picture any more"), errors }, 400);
    await openPage(`${path}?still=s1&at=2026-01-14T07%3A30%3A00Z&kind=&feeder=rowan`);
    await write("two jays");
    await screen.findByText("Still: there is no such picture any more.");
    fireEvent.click(screen.getByText("Write without the picture"));
    await screen.findByLabelText("About");
    expect((screen.getByLabelText("Note") as HTMLTextAreaElement).value).toBe("two jays");
  });

  it("names the field that the server refuses", async () => {
    const errors = [{ field: "text", problem: "must not be empty" }];
    answer(`POST ${path}`, { ...problem(400, "text: must not be empty"), errors }, 400);
    await openPage(path);
    await write(" ");
    expect(await screen.findByText(/^Note: /, { selector: ".problem" })).toBeTruthy();
  });

  it("changes the text of a note", async () => {
    answer(`PATCH ${path}/a`, notesViewFixture([noteFixture("a", 0, { text: "three jays" })]));
    await openPage(path);
    fireEvent.click((await screen.findAllByRole("button", { name: /^Edit/ }))[0] as HTMLElement);
    const [, area] = screen.getAllByLabelText("Note");
    fireEvent.input(area as HTMLElement, { target: { value: "three jays" } });
    fireEvent.click(screen.getAllByRole("button", { name: "Save" })[1] as HTMLElement);
    expect(await screen.findByText("three jays")).toBeTruthy();
    expect(server.sent(0)).toEqual({ text: "three jays" });
  });

  it("asks once before it deletes a note", async () => {
    answer(`DELETE ${path}/a`, notesViewFixture([noteFixture("b", 30)]));
    await openPage(path);
    const entry = within((await screen.findByText("note a")).closest("li") as HTMLElement);
    fireEvent.click(entry.getByText("Delete…"));
    expect(server.posts()).toHaveLength(0);
    fireEvent.click(entry.getByText("Delete this note"));
    await waitFor(() => expect(screen.queryByText("note a")).toBeNull());
  });

  it("loads older notes below, and keeps them when a newer one is deleted", async () => {
    await openPage(path);
    await screen.findByText("note b");
    answer(`GET ${path}`, notesViewFixture([noteFixture("c", 60)]));
    fireEvent.click(screen.getByRole("button", { name: "Show older notes" }));
    await screen.findByText("note c");
    expect(screen.queryByRole("button", { name: "Show older notes" })).toBeNull();
    answer(`DELETE ${path}/a`, notesViewFixture([noteFixture("b", 30)]));
    fireEvent.click(screen.getAllByText("Delete this note")[0] as HTMLElement);
    await waitFor(() => expect(screen.queryByText("note a")).toBeNull());
    expect(screen.getByText("note c")).toBeTruthy();
  });

  it("says that older notes could not be loaded", async () => {
    await openPage(path);
    await screen.findByText("note b");
    server.offline = true;
    fireEvent.click(screen.getByRole("button", { name: "Show older notes" }));
    expect(await screen.findByText("The older notes could not be loaded. Try again.")).toBeTruthy();
  });

  it("shows that nothing is written yet, and the server's problem where there is one", async () => {
    answer(`GET ${path}`, notesViewFixture([]));
    await openPage(path);
    expect(await screen.findByText("Nothing written yet.")).toBeTruthy();
  });

  it("can be read offline as it was last loaded; without that it says so", async () => {
    const store = memoryStore();
    await store.put("home", { view: server.home, asOf: Date.now() });
    server.offline = true;
    await openPage(path, store);
    expect(await screen.findByText(/^The notebook is not saved on this phone/)).toBeTruthy();
    await store.put("notes", [["alder-croft", { view: notesViewFixture([noteFixture("x", 2)]), asOf: Date.now() }]]);
    await openNotes(store);
    expect(await screen.findByText("note x")).toBeTruthy();
    expect(screen.getByText(/^Notes from /)).toBeTruthy();
  });

  it("shows a note's photographs small, each a link to the large one", async () => {
    const photos = [{ id: "p1", widthPixels: 1_600, heightPixels: 800 }];
    answer(`GET ${path}`, {
      ...notesViewFixture([noteFixture("a", 0, { photos })]),
      pictureSpaceText: "The space is 85 % full.",
    });
    await openPage(path);
    const image = await screen.findByRole("img", { name: /^Photograph 1 of 1/ });
    expect(image.getAttribute("src")).toBe("/api/v1/yards/alder-croft/pictures/p1?size=small");
    expect([image.getAttribute("width"), image.getAttribute("height")]).toEqual(["320", "160"]);
    expect(image.closest("a")?.getAttribute("href")).toBe("/api/v1/yards/alder-croft/pictures/p1?size=full");
    expect(screen.getByText("The space is 85 % full.")).toBeTruthy();
    answer("DELETE /yards/alder-croft/pictures/p1", notesViewFixture([noteFixture("a", 0)]));
    fireEvent.click(screen.getByText("Delete photograph 1"));
    await waitFor(() => expect(screen.queryByRole("img", { name: /^Photograph/ })).toBeNull());
  });

  it("sends the photographs that were chosen, made smaller, one after the other, and says why one was refused", async () => {
    const sizes = stubCanvas(4_000, 3_000);
    const photos = [{ id: "p1", widthPixels: 1_600, heightPixels: 1_200 }];
    let sent = 0;
    server.replies[`POST ${path}/a/photos`] = () => {
      sent += 1;
      return sent === 1
        ? { status: 200, body: notesViewFixture([noteFixture("a", 0, { photos })]) }
        : { status: 409, body: problem(409, "This yard has no space for more pictures.") };
    };
    await openPage(path);
    await screen.findByText("note a");
    const input = screen.getAllByLabelText(/^Add photographs to the note/)[0] as HTMLInputElement;
    const files = ["1", "2", "3"].map((name) => new File(["x"], `${name}.jpg`, { type: "image/jpeg" }));
    Object.defineProperty(input, "files", { value: files });
    fireEvent.change(input);
    expect(await screen.findByText(/^Not all photographs were added. This yard has no space/)).toBeTruthy();
    expect(await screen.findByRole("img", { name: /^Photograph 1 of 1/ })).toBeTruthy();
    expect([sent, sizes]).toEqual([
      2,
      [
        [1_600, 1_200],
        [1_600, 1_200],
      ],
    ]);
  });

  it("is linked from its yard", () => {
    const [yard] = server.home.yards;
    if (yard === undefined) throw new Error("expected a yard");
    render(<YardLinks yard={yard} />);
    expect(screen.getByRole("link", { name: "Notebook" }).getAttribute("href")).toBe(path);
  });
});
