import { createHash } from "node:crypto";
import sharp from "sharp";
import { describe, expect, it } from "vitest";
import type { AddedYardView } from "../../server/contract/accountViews.ts";
import type { StillsView } from "../../server/contract/stillView.ts";
import { days, hours, minutes, seconds } from "../../server/domain/instant.ts";
import { stillQuota, stillsADayMax, stillsAMinuteMax } from "../../server/domain/pictures/stillSpace.ts";
import { hashOf, signatureOf } from "../../server/flows/feederKeys.ts";
import { sweepPictures } from "../../server/flows/pictures.ts";
import { findEvents } from "../../server/flows/stillEvents.ts";
import { addStill, removeOldStills } from "../../server/flows/stills.ts";
import type { memoryPictureFiles } from "../support/memoryPictureFiles.ts";
import { joinByInvite, requestAs } from "../support/people.ts";
import { jpegPicture, jpegWithPlace, pngPicture, webpPicture } from "../support/pictures.ts";
import { openTestServer, type TestServer } from "../support/testServer.ts";

type Headers = Record<string, string>;

async function openCamera() {
  const server = await openTestServer();
  const { feeder, key } = await server.addFeeder();
  const path = `/api/v1/yards/${server.yard}/stills`;
  const send = (picture: Buffer, query = "?boot=b-1&seq=1", headers: Headers = { authorization: `Bearer ${key}` }) =>
    requestAs(server, "POST", `/api/v1/stills${query}`, { "content-type": "image/jpeg", ...headers }, picture);
  const view = async () => (await requestAs(server, "GET", path, server.keeper)).json() as StillsView;
  const change = (id: string, body: object, headers = server.keeper) =>
    requestAs(server, "PATCH", `${path}/${id}`, headers, body);
  const firstId = async () => (await view()).stills[0]?.id as string;
  const files = server.ports.pictureFiles as ReturnType<typeof memoryPictureFiles>;
  return { server, feeder, key, path, send, view, change, firstId, files };
}

const deposit = { seq: 1, uptimeMs: 1_000, kind: "deposit", metal: true };
const portion = {
  seq: 2,
  uptimeMs: 2_000,
  kind: "portion",
  cause: "deposit",
  paysFor: 1,
  motorRanMs: 900,
  chuteCount: 1,
};
const reportOf = (...events: readonly object[]) => ({ boot: "b-1", sentUptimeMs: 3_000, events });

describe("a still of a feeder's camera", () => {
  it.each([
    ["JPEG", jpegPicture],
    ["PNG", pngPicture],
    ["WebP", webpPicture],
  ])("is stored as %s in two sizes, once for each event", async (_name, make) => {
    const { server, send, view, path, files } = await openCamera();
    expect((await send(await make(900, 600))).statusCode).toBe(200);
    const [still] = (await view()).stills;
    expect((await send(await jpegPicture(80, 60))).statusCode).toBe(200); // another picture of the same event
    const at = new Date(server.clock.now() - 60_000).toISOString();
    expect((await send(await jpegPicture(), `?boot=b-1&seq=1&at=${at}`)).statusCode).toBe(200);
    expect((await view()).stills).toEqual([still]);
    expect(still).toMatchObject({ event: { known: false, kind: null }, payment: null, starred: false, who: null });
    expect(files.paths()).toHaveLength(2);
    const get = (size: string) => requestAs(server, "GET", `${path}/${still?.id}/picture?size=${size}`, server.keeper);
    const small = await get("small");
    expect(small.headers).toMatchObject({ "content-type": "image/jpeg", "cache-control": "private, no-cache" });
    expect((await sharp(small.rawPayload).metadata()).width).toBe(320);
    expect((await sharp((await get("full")).rawPayload).metadata()).width).toBe(900);
    const again = await requestAs(server, "GET", `${path}/${still?.id}/picture?size=small`, {
      ...server.keeper,
      "if-none-match": String(small.headers.etag),
    });
    expect(again.statusCode).toBe(304);
  });

  it("has no place in its files", async () => {
    const { server, send, path, firstId } = await openCamera();
    await send(await jpegWithPlace());
    const { rawPayload } = await requestAs(server, "GET", `${path}/${await firstId()}/picture`, server.keeper);
    expect([rawPayload.length > 100, rawPayload.includes("Exif"), rawPayload.includes("Keeper")]).toEqual([
      true,
      false,
      false,
    ]);
  });

  it("finds its event where the report came before it, and where it comes hours later", async () => {
    const { server, key, send, view } = await openCamera();
    await server.report(key, reportOf(deposit, portion));
    await send(await jpegPicture());
    const [still] = (await view()).stills;
    expect(still).toMatchObject({ event: { known: true, kind: "deposit" }, payment: "paid" });
    await send(await jpegPicture(), "?boot=b-1&seq=3");
    expect((await view()).stills[0]).toMatchObject({ event: { known: false }, payment: null });
    server.clock.advance(hours(5));
    await server.report(key, {
      boot: "b-1",
      sentUptimeMs: 18_003_000,
      events: [{ ...deposit, seq: 3, uptimeMs: 4_000 }],
    });
    await findEvents(server.ports);
    expect((await view()).stills[0]).toMatchObject({ event: { known: true, kind: "deposit" }, payment: "unpaid" });
  });

  it("is not called unpaid while its portion may still come, nor where the deposit earns nothing", async () => {
    const { server, key, send, view } = await openCamera();
    await server.report(key, reportOf(deposit));
    await send(await jpegPicture());
    expect((await view()).stills[0]?.payment).toBeNull();
    server.clock.advance(minutes(11));
    await findEvents(server.ports);
    expect((await view()).stills[0]?.payment).toBe("unpaid");
    const late = { ...portion, uptimeMs: 5_000 };
    await server.report(key, { boot: "b-1", sentUptimeMs: 663_000, events: [late] });
    await findEvents(server.ports);
    expect((await view()).stills[0]?.payment).toBe("paid");
    await server.report(key, {
      boot: "b-1",
      sentUptimeMs: 664_000,
      events: [{ ...deposit, seq: 3, uptimeMs: 663_500, metal: false }],
    });
    await send(await jpegPicture(), "?boot=b-1&seq=3");
    expect((await view()).stills[0]?.payment).toBe("earnsNothing");
  });

  it("belongs to the feeder that sends it, whatever another one has reported", async () => {
    const { server, key, send, view } = await openCamera();
    const larch = await server.addFeeder({ name: "Larch" });
    await server.report(key, reportOf(deposit));
    await send(await jpegPicture(), "?boot=b-1&seq=1", { authorization: `Bearer ${larch.key}` });
    const [still] = (await view()).stills;
    expect(still).toMatchObject({ feeder: { id: larch.feeder.id, name: "Larch" }, event: { known: false } });
    await send(await jpegPicture());
    expect((await view()).stills).toHaveLength(2);
  });

  it("may have a moment in place of an event, and none in the future", async () => {
    const { server, send, view } = await openCamera();
    const at = new Date(server.clock.now() - 60_000).toISOString();
    expect((await send(await jpegPicture(), `?at=${at}`)).statusCode).toBe(200);
    expect((await view()).stills[0]).toMatchObject({ at: expect.stringContaining(at.slice(0, 19)), event: null });
    const ahead = await send(await jpegPicture(), `?at=${new Date(server.clock.now() + 600_000).toISOString()}`);
    expect([ahead.statusCode, ahead.json().errors[0].field]).toEqual([400, "at"]);
    for (const [query, field] of [
      ["?boot=b-1", "seq"],
      ["?seq=1", "boot"],
      ["?boot=b-1&seq=x", "seq"],
      ["?boot=b-1&seq=1&yard=other", ""],
    ] as const) {
      const refused = await send(await jpegPicture(), query);
      expect([query, refused.statusCode, refused.body]).toEqual([query, 400, expect.stringContaining(field)]);
    }
  });
});

describe("who may send a still", () => {
  it("is a feeder with its key or its signature over the query and the octets", async () => {
    const { server, feeder, key, send, view } = await openCamera();
    const picture = await jpegPicture();
    const signed = (query: string, body: Buffer, feederKey = key) => {
      const time = String(Math.floor(server.clock.now() / 1_000));
      const text = `still\n${query}\n${createHash("sha256").update(body).digest("hex")}`;
      const mac = signatureOf(hashOf(feederKey), time, text);
      return { authorization: `Signature feeder="${feeder.id}", time="${time}", mac="${mac}"` };
    };
    const right = await send(picture, "?boot=b-1&seq=1", signed("boot=b-1&seq=1", picture));
    expect([right.statusCode, right.headers["authentication-info"]]).toEqual([
      200,
      expect.stringContaining("nextnonce"),
    ]);
    const refused = [
      await send(picture, "?boot=b-1&seq=2", signed("boot=b-1&seq=1", picture)), // of another event
      await send(await jpegPicture(50, 50), "?boot=b-1&seq=2", signed("boot=b-1&seq=2", picture)),
      await send(picture, "?boot=b-1&seq=2", signed("boot=b-1&seq=2", picture, "pw_wrong")),
      await send(picture, "?boot=b-1&seq=2", { authorization: "Bearer pw_wrong" }),
      await send(picture, "?boot=b-1&seq=2", {}),
      await send(picture, "?boot=b-1&seq=2", server.keeper),
    ];
    expect(refused.map(({ statusCode }) => statusCode)).toEqual([401, 401, 401, 401, 401, 401]);
    expect((await view()).stills).toHaveLength(1);
  });

  it("is no feeder that was removed, nor one whose key was changed", async () => {
    const { server, feeder, send, files } = await openCamera();
    await send(await jpegPicture());
    const larch = await server.addFeeder({ name: "Larch" });
    const byLarch = { authorization: `Bearer ${larch.key}` };
    await send(await jpegPicture(), "?boot=b-1&seq=1", byLarch);
    expect(files.paths()).toHaveLength(4);
    await requestAs(server, "DELETE", `/api/v1/feeders/${feeder.id}`, server.keeper);
    expect(files.paths()).toHaveLength(2); // those of the other feeder
    expect((await server.store.stills.allStills()).map((still) => still.feeder)).toEqual([larch.feeder.id]);
    expect((await send(await jpegPicture(), "?boot=b-1&seq=2")).statusCode).toBe(401);
    await requestAs(server, "POST", `/api/v1/feeders/${larch.feeder.id}/key`, server.keeper);
    expect((await send(await jpegPicture(), "?boot=b-1&seq=2", byLarch)).statusCode).toBe(401);
  });

  it("may send some a minute and some hundred a day", async () => {
    const { server, feeder, send, view } = await openCamera();
    const picture = await jpegPicture();
    for (let seq = 1; seq <= stillsAMinuteMax; seq += 1)
      expect((await send(picture, `?boot=b-1&seq=${seq}`)).statusCode).toBe(200);
    const tooMany = await send(picture, "?boot=b-1&seq=99");
    expect([tooMany.statusCode, Number(tooMany.headers["retry-after"]) > 0]).toEqual([429, true]);
    server.clock.advance(minutes(1));
    const row = await server.store.stills.still(server.yard, (await view()).stills[0]?.id ?? "");
    if (row === null) throw new Error("expected a still");
    for (let count = stillsAMinuteMax; count < stillsADayMax; count += 1)
      await server.store.stills.addStill({ ...row, id: `day-${count}`, addedAt: server.clock.now() }, stillQuota);
    const another = await send(picture, "?boot=b-1&seq=99");
    expect([another.statusCode, another.json().detail]).toEqual([429, expect.stringContaining("24 hours")]);
    expect((await send(picture, "?boot=b-1&seq=1")).statusCode).toBe(200); // one that is there already
    server.clock.advance(days(1));
    server.clock.advance(seconds(1));
    expect((await send(picture, "?boot=b-1&seq=99")).statusCode).toBe(200);
    expect(await server.store.stills.countOf(feeder.id, server.clock.now())).toBe(0);
  });
});

describe("what is no still", () => {
  it.each([
    ["a text", Buffer.from("a jay, and no picture"), 415, "must be a JPEG, PNG or WebP"],
    ["nothing", Buffer.alloc(0), 415, "must be a JPEG, PNG or WebP"],
    ["the first octets alone", Buffer.from([0xff, 0xd8, 0xff, 0xe0, 0, 16]), 422, "can't be read"],
    ["more than 512 KiB", Buffer.alloc(512 * 1024 + 1, 0xff), 413, "512 KiB"],
  ])("is refused with the field: %s", async (_name, body, status, text) => {
    const { send, files, view } = await openCamera();
    const answer = await send(body);
    expect([answer.statusCode, answer.json().errors?.[0]]).toEqual([
      status,
      { field: "picture", problem: expect.stringContaining(text) },
    ]);
    expect([files.paths(), (await view()).total]).toEqual([[], 0]);
  });

  it("is a small file with very many pixels", async () => {
    const { send, files } = await openCamera();
    const bomb = await pngPicture(6_000, 5_000);
    expect(bomb.length).toBeLessThan(512 * 1024);
    const answer = await send(bomb);
    expect([answer.statusCode, answer.json().detail]).toEqual([422, expect.stringContaining("24 million")]);
    expect(files.paths()).toEqual([]);
  });
});

describe("the people of a yard", () => {
  it("star, label and delete a still, a helper too, and nobody of another yard", async () => {
    const { server, send, view, change, firstId, path, files } = await openCamera();
    await send(await jpegPicture());
    const id = await firstId();
    const bo = await joinByInvite(server, "Bo", "helper");
    const changed = await change(id, { starred: true, who: "  A  jay ", brought: "cap\u0065\u0301" }, bo);
    expect((changed.json() as StillsView).stills[0]).toMatchObject({
      starred: true,
      who: "A jay",
      brought: "cap\u00e9",
    });
    expect((await change(id, { who: " " })).json().stills[0]).toMatchObject({
      starred: true,
      who: null,
      brought: "cap\u00e9",
    });
    expect((await change(id, { who: "x".repeat(41) })).statusCode).toBe(400);
    const made = await requestAs(server, "POST", "/api/v1/yards", server.keeper, {
      name: "Larch Field",
      zone: "Europe/Stockholm",
    });
    const elsewhere = `/api/v1/yards/${(made.json() as AddedYardView).yard.id}/stills`;
    for (const [method, url] of [
      ["GET", `${elsewhere}/${id}/picture`],
      ["DELETE", `${elsewhere}/${id}`],
    ] as const)
      expect((await requestAs(server, method, url, server.keeper)).statusCode).toBe(404);
    expect((await requestAs(server, "PATCH", `${elsewhere}/${id}`, server.keeper, { starred: false })).statusCode).toBe(
      404,
    );
    expect((await requestAs(server, "GET", elsewhere, server.keeper)).json()).toMatchObject({ stills: [], total: 0 });
    expect((await requestAs(server, "GET", elsewhere, bo)).statusCode).toBe(404);
    expect((await requestAs(server, "DELETE", `${path}/${id}`, bo)).statusCode).toBe(200);
    expect((await requestAs(server, "DELETE", `${path}/${id}`, bo)).statusCode).toBe(404);
    expect([files.paths(), (await view()).total]).toEqual([[], 0]);
  });

  it("see the share of each label among the labelled stills, with Wilson's limits", async () => {
    const { send, view, change } = await openCamera();
    for (let seq = 1; seq <= 10; seq += 1) await send(await jpegPicture(), `?boot=b-1&seq=${seq}`);
    const { stills } = await view();
    for (const [index, brought] of ["cap", "Cap", "cap", "cap", "twig"].entries())
      await change(stills[index]?.id ?? "", { brought });
    const { brought, who, total } = await view();
    expect([total, brought.labelled, who]).toEqual([10, 5, { labels: [], labelled: 0 }]);
    expect(brought.labels.map(({ label, stills: count, share }) => [label, count, share])).toEqual([
      ["cap", 4, 0.8],
      ["twig", 1, 0.2],
    ]);
    // 4 of 5 by Wilson 1927: 0.3755 to 0.9638, as its formula gives with z = 1.959964.
    expect(brought.labels[0]?.limits.low).toBeCloseTo(0.3755, 3);
    expect(brought.labels[0]?.limits.high).toBeCloseTo(0.9638, 3);
  });

  it("get them page by page, and learn before space is short", async () => {
    const { server, send, view, path, firstId } = await openCamera();
    await send(await jpegPicture());
    const row = await server.store.stills.still(server.yard, await firstId());
    if (row === null) throw new Error("expected a still");
    for (let count = 1; count <= 50; count += 1) {
      const at = (server.clock.now() - Math.ceil(count / 20) * 1_000) as typeof row.at;
      await server.store.stills.addStill({ ...row, id: `older-${count}`, at }, stillQuota);
    }
    const first = await view();
    expect([first.stills.length, first.more, first.total, first.spaceText]).toEqual([48, true, 51, null]);
    const last = first.stills.at(-1);
    const place = `${path}?before=${last?.at}&beforeId=${last?.id}`;
    const rest = (await requestAs(server, "GET", place, server.keeper)).json() as StillsView;
    expect([rest.stills.length, rest.more]).toEqual([3, false]);
    await server.store.stills.addStill({ ...row, id: "large", bytes: Math.ceil(0.85 * stillQuota.bytes) }, stillQuota);
    expect((await view()).spaceText).toMatch(/85 % full .*oldest without a star/);
  });
});

describe("how long stills are kept", () => {
  it("is 30 days, and for good with a star", async () => {
    const { server, send, view, change, files } = await openCamera();
    await send(await jpegPicture());
    await send(await jpegPicture(), "?boot=b-1&seq=2");
    const [kept] = (await view()).stills;
    await change(kept?.id ?? "", { starred: true });
    server.clock.advance(days(30));
    expect(await removeOldStills(server.ports)).toBe(0);
    server.clock.advance(seconds(1));
    expect(await removeOldStills(server.ports)).toBe(1);
    expect((await server.store.stills.allStills()).map(({ id }) => id)).toEqual([kept?.id]);
    expect(files.paths()).toHaveLength(2);
  });

  it("is less where the space is used up: the oldest without a star go, with their files", async () => {
    const { server, feeder, send, change, firstId, files } = await openCamera();
    const sentAs = (seq: number, picture: Buffer) => ({
      ...{ feeder: feeder.id, yard: server.yard, at: null, picture, event: { boot: "b-1", seq } },
    });
    await send(await jpegPicture());
    await change(await firstId(), { starred: true });
    const most = { pictures: 2, bytes: stillQuota.bytes };
    for (const seq of [2, 3]) {
      server.clock.advance(minutes(1));
      expect(await addStill(server.ports, sentAs(seq, await jpegPicture()), most)).toBeNull();
    }
    const left = await server.store.stills.stills(server.yard, (server.clock.now() + 1_000) as never, 9);
    expect(left.map(({ event }) => event?.seq).sort()).toEqual([1, 3]);
    expect(files.paths()).toHaveLength(4);
    for (const { id } of left) await change(id, { starred: true });
    expect(await addStill(server.ports, sentAs(4, await jpegPicture()), most)).toBe("full");
    expect(files.paths()).toHaveLength(4);
  });

  it("ends with the yard", async () => {
    const { server, send, files } = await openCamera();
    await send(await jpegPicture());
    const name = (await server.store.yards.yards())[0]?.name;
    await requestAs(server, "POST", `/api/v1/yards/${server.yard}/remove`, server.keeper, { name });
    expect([files.paths(), await server.store.stills.allStills()]).toEqual([[], []]);
  });

  it("is an hour for files whose row a crash kept from being written, and the rest stays", async () => {
    const { server, feeder, send, files, view } = await openCamera();
    await send(await jpegPicture());
    const stopped: TestServer["store"] = {
      ...server.store,
      stills: { ...server.store.stills, addStill: () => Promise.reject(new Error("killed")) },
    };
    const event = { boot: "b-1", seq: 2 };
    const sent = { feeder: feeder.id, yard: server.yard, event, at: null, picture: await jpegPicture() };
    await expect(addStill({ ...server.ports, store: stopped }, sent)).rejects.toThrow("killed");
    expect([files.paths().length, (await view()).total]).toEqual([4, 1]);
    server.clock.advance(minutes(61));
    expect(await sweepPictures(server.ports)).toBe(2);
    expect(files.paths()).toHaveLength(2);
    expect((await send(await jpegPicture(), "?boot=b-1&seq=2")).statusCode).toBe(200); // the feeder repeats it
    expect((await view()).total).toBe(2);
  });
});

describe("the export of the training record", () => {
  it("has a line for each still, with its labels and the hash of its picture", async () => {
    const { server, key, send, change, firstId, path } = await openCamera();
    await server.report(key, reportOf(deposit, portion));
    await send(await jpegPicture());
    const id = await firstId();
    await change(id, { who: "a jay", starred: true });
    const url = `/api/v1/yards/${server.yard}/training/export?table=stills&format=jsonl`;
    const lines = (await requestAs(server, "GET", url, server.keeper)).body.trim().split("\n");
    expect(lines).toHaveLength(1);
    const picture = await requestAs(server, "GET", `${path}/${id}/picture`, server.keeper);
    expect(JSON.parse(lines[0] ?? "")).toMatchObject({
      ...{ boot: "b-1", seq: 1, event: "deposit", payment: "paid", who: "a jay", brought: null, starred: 1 },
      picture: `${path}/${id}/picture`,
      sha256: createHash("sha256").update(picture.rawPayload).digest("hex"),
    });
  });
});
