import { request as httpRequest } from "node:http";
import type { AddressInfo } from "node:net";
import sharp from "sharp";
import { describe, expect, it } from "vitest";
import type { AddedYardView } from "../../server/contract/accountViews.ts";
import type { NotesView } from "../../server/contract/trainingView.ts";
import { hours, minutes } from "../../server/domain/instant.ts";
import { pictureQuota } from "../../server/domain/pictures/pictureSpace.ts";
import { sweepPictures } from "../../server/flows/pictures.ts";
import type { memoryPictureFiles } from "../support/memoryPictureFiles.ts";
import { joinByInvite, requestAs } from "../support/people.ts";
import { jpegPicture, jpegWithPlace, pngPicture } from "../support/pictures.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

type Headers = Record<string, string>;
const yardPath = (server: TestServer) => `/api/v1/yards/${server.yard}`;
const notePath = (server: TestServer, note = "note-0001") => `${yardPath(server)}/notes/${note}`;

async function openNotebook() {
  const server = await openTestServer();
  await requestAs(server, "POST", `${yardPath(server)}/notes`, server.keeper, { id: "note-0001", text: "a jay" });
  const send = (picture: Buffer, { headers = server.keeper, type = "image/jpeg", note = "note-0001" } = {}) =>
    requestAs(server, "POST", `${notePath(server, note)}/photos`, { ...headers, "content-type": type }, picture);
  const photosNow = async () => {
    const view = (await requestAs(server, "GET", `${yardPath(server)}/notes`, server.keeper)).json() as NotesView;
    return view.notes[0]?.photos ?? [];
  };
  const add = async (picture: Buffer) => {
    await send(picture);
    return (await photosNow()).at(-1)?.id as string;
  };
  const get = (id: string, query = "", headers: Headers = {}) =>
    requestAs(server, "GET", `${yardPath(server)}/pictures/${id}${query}`, { ...server.keeper, ...headers });
  const files = server.ports.pictureFiles as ReturnType<typeof memoryPictureFiles>;
  return { server, send, photosNow, add, get, files };
}

describe("a photograph in a note", () => {
  it("is stored in two sizes and shown with its note", async () => {
    const { send, photosNow, get, files } = await openNotebook();
    const view = (await send(await jpegPicture(2_000, 1_000))).json() as NotesView;
    const [photo] = view.notes[0]?.photos ?? [];
    expect(photo).toEqual({ id: expect.stringMatching(/^[0-9a-f]{32}$/), widthPixels: 1_600, heightPixels: 800 });
    expect(await photosNow()).toEqual([photo]);
    const sizes = await Promise.all(
      ["", "?size=full", "?size=small"].map(async (query) => {
        const answer = await get(photo?.id ?? "", query);
        expect(answer.headers["content-type"]).toBe("image/jpeg");
        return (await sharp(answer.rawPayload).metadata()).width;
      }),
    );
    expect(sizes).toEqual([1_600, 1_600, 320]);
    expect(files.paths()).toHaveLength(2);
  });

  it("is the same when it is sent again, also by another name and to a restored folder without its file", async () => {
    const { server, send, add, get, photosNow } = await openNotebook();
    const picture = await jpegPicture();
    const id = await add(picture);
    expect((await send(picture, { type: "image/png" })).statusCode).toBe(200);
    expect(await photosNow()).toHaveLength(1);
    await server.ports.pictureFiles.removeYard(server.yard);
    expect((await get(id)).statusCode).toBe(404);
    await send(picture);
    expect((await get(id)).statusCode).toBe(200);
  });

  it("has no place in any of its files", async () => {
    const { add, get } = await openNotebook();
    const id = await add(await jpegWithPlace());
    for (const size of ["full", "small"]) {
      const { rawPayload } = await get(id, `?size=${size}`);
      expect([rawPayload.length > 100, rawPayload.includes("Exif"), rawPayload.includes("Keeper")]).toEqual([
        true,
        false,
        false,
      ]);
    }
  });

  it("is stored by the browser alone, by a strong tag, and asked for each time", async () => {
    const { add, get } = await openNotebook();
    const id = await add(await jpegPicture());
    const first = await get(id);
    expect(first.headers).toMatchObject({
      "cache-control": "private, no-cache",
      "x-content-type-options": "nosniff",
      etag: expect.stringMatching(/^"[^"]+"$/),
    });
    const again = await get(id, "", { "if-none-match": String(first.headers.etag) });
    expect([again.statusCode, again.rawPayload.length, again.headers.etag]).toEqual([304, 0, first.headers.etag]);
    expect((await get(id, "?size=small", { "if-none-match": String(first.headers.etag) })).statusCode).toBe(200);
    expect((await get(id, "?size=huge")).statusCode).toBe(400);
  });

  it("is added and deleted by a helper, and by nobody of another yard", async () => {
    const { server, send, add, get, files } = await openNotebook();
    const bo = await joinByInvite(server, "Bo", "helper");
    expect((await send(await pngPicture(), { headers: bo })).statusCode).toBe(200);
    const id = await add(await jpegPicture());
    const made = await requestAs(server, "POST", "/api/v1/yards", server.keeper, {
      name: "Larch Field",
      zone: "Europe/Stockholm",
    });
    const other = (made.json() as AddedYardView).yard.id;
    const elsewhere = `/api/v1/yards/${other}/pictures/${id}`;
    // A person of both yards, too: the address names the yard that must have it.
    expect((await requestAs(server, "GET", elsewhere, server.keeper)).statusCode).toBe(404);
    expect((await requestAs(server, "DELETE", elsewhere, server.keeper)).statusCode).toBe(404);
    expect((await requestAs(server, "GET", elsewhere, bo)).statusCode).toBe(404);
    expect((await get(id, "", bo)).statusCode).toBe(200);
    const url = `${yardPath(server)}/pictures/${id}`;
    expect((await requestAs(server, "DELETE", url, bo)).statusCode).toBe(200);
    expect((await requestAs(server, "DELETE", url, bo)).statusCode).toBe(404);
    expect(files.paths().some((path) => path.includes(id))).toBe(false);
  });
});

describe("what is no photograph", () => {
  it.each([
    ["a text named as one", Buffer.from("a jay, and no picture at all"), 415, "must be a JPEG, PNG or WebP"],
    ["an SVG", Buffer.from('<svg xmlns="http://www.w3.org/2000/svg"/>'), 415, "must be a JPEG, PNG or WebP"],
    ["nothing", Buffer.alloc(0), 415, "must be a JPEG, PNG or WebP"],
    ["a JPEG's first octets alone", Buffer.from([0xff, 0xd8, 0xff, 0xe0, 0, 16]), 422, "can't be read"],
  ])("is refused with the field: %s", async (_name, body, status, text) => {
    const { send, files } = await openNotebook();
    const answer = await send(body);
    expect([answer.statusCode, answer.json().errors?.[0]]).toEqual([
      status,
      { field: "photo", problem: expect.stringContaining(text) },
    ]);
    expect(files.paths()).toEqual([]);
  });

  it("is one with too many pixels, or one that ends too early", async () => {
    const { send, photosNow } = await openNotebook();
    const large = await send(await pngPicture(5_000, 5_000));
    expect([large.statusCode, large.json().detail]).toEqual([422, expect.stringContaining("24 million")]);
    const whole = await jpegPicture(400, 300);
    const cut = await send(whole.subarray(0, whole.length - 200));
    expect([cut.statusCode, cut.json().detail]).toEqual([422, expect.stringContaining("incomplete")]);
    expect(await photosNow()).toEqual([]);
  });

  it("is one of more than 8 MiB, or for a note that isn't there", async () => {
    const { send } = await openNotebook();
    expect((await send(Buffer.alloc(8 * 1024 * 1024 + 1, 0xff))).statusCode).toBe(413);
    expect((await send(await jpegPicture(), { note: "note-0002" })).statusCode).toBe(404);
  });

  it("is refused before its body is read where nobody is signed in, and stores nothing where the upload is cut", async () => {
    const { server, photosNow, files } = await openNotebook();
    await server.app.listen({ port: 0, host: "127.0.0.1" });
    const { port } = server.app.server.address() as AddressInfo;
    const begin = (headers: Headers) =>
      httpRequest({
        ...{ port, host: "127.0.0.1", method: "POST", path: `${notePath(server)}/photos` },
        headers: { ...headers, "content-type": "image/jpeg", "content-length": 4_000_000 },
      });
    const status = await new Promise((resolve, reject) => {
      const stranger = begin({ "x-pieward": "1" });
      stranger.on("response", (answer) => resolve(answer.statusCode));
      stranger.on("error", reject);
      stranger.flushHeaders();
    });
    expect(status).toBe(401);
    const cut = begin(server.keeper);
    cut.on("error", () => undefined); // it is ended below
    cut.write((await jpegPicture(400, 300)).subarray(0, 500));
    await new Promise((resolve) => server.app.server.once("request", resolve));
    cut.destroy();
    await new Promise((resolve) => cut.once("close", resolve));
    expect([await photosNow(), files.paths()]).toEqual([[], []]);
  });
});

describe("the space for pictures of a yard", () => {
  const fill = async (server: TestServer, bytes: number) =>
    server.store.pictures.addPicture(
      {
        ...{ id: "large", yard: server.yard, note: "note-0001", by: "Keeper", addedAt: server.clock.now() },
        ...{ widthPixels: 1, heightPixels: 1, bytes },
      },
      pictureQuota,
    );
  const spaceText = async (server: TestServer) =>
    ((await requestAs(server, "GET", `${yardPath(server)}/notes`, server.keeper)).json() as NotesView).pictureSpaceText;

  it("is said from 80 % on, and refuses with a reason when it is used up", async () => {
    const { server, send, files } = await openNotebook();
    expect(await spaceText(server)).toBeNull();
    await fill(server, Math.ceil(0.85 * pictureQuota.bytes));
    expect(await spaceText(server)).toMatch(/85 % full \(1 of at most 5000 pictures\)/);
    expect((await send(await jpegPicture())).statusCode).toBe(200);
    await server.store.pictures.removePicture(server.yard, "large");
    expect(await spaceText(server)).toBeNull();
    const before = files.paths();
    await fill(server, pictureQuota.bytes - 1_000);
    const answer = await send(await pngPicture(300, 200));
    expect([answer.statusCode, answer.json().detail]).toEqual([409, expect.stringContaining("no space")]);
    expect(files.paths()).toEqual(before);
  });
});

describe("what is deleted", () => {
  it("takes its files with it: a note, a yard, an account", async () => {
    const { server, add, files } = await openNotebook();
    await add(await jpegPicture());
    expect(files.paths()).toHaveLength(2);
    await requestAs(server, "DELETE", notePath(server), server.keeper);
    expect(files.paths()).toEqual([]);

    for (const end of ["yard", "account"]) {
      const { server: opened, add: addTo, files: kept } = await openNotebook();
      await addTo(await jpegPicture());
      const name = (await opened.store.yards.yards())[0]?.name;
      const answer =
        end === "yard"
          ? await requestAs(opened, "POST", `${yardPath(opened)}/remove`, opened.keeper, { name })
          : await requestAs(opened, "POST", "/api/v1/me/remove", opened.keeper, {
              passphrase: "birds before breakfast",
              withYards: true,
            });
      expect([end, answer.statusCode, kept.paths()]).toEqual([end, 204, []]);
      expect(await opened.store.pictures.allPictures()).toEqual([]);
    }
  });

  it("is swept after an hour where a crash left files without a row", async () => {
    const { server, add, files } = await openNotebook();
    const id = await add(await jpegPicture());
    await server.ports.pictureFiles.save(server.yard, "lost", { full: Buffer.from("x"), small: Buffer.from("y") });
    server.clock.advance(minutes(30));
    expect(await sweepPictures(server.ports)).toBe(0);
    server.clock.advance(hours(1));
    expect(await sweepPictures(server.ports)).toBe(2);
    expect(files.paths().every((path) => path.includes(id))).toBe(true);
  });
});
