import { once } from "node:events";
import { describe, expect, it, onTestFinished } from "vitest";
import { WebSocket } from "ws";
import { openHouse } from "../support/house.ts";
import { asked, invited, phoneOf } from "../support/people.ts";

/** A browser that watches, once it is let in. */
async function watching(address: string, headers: Record<string, string>) {
  const socket = new WebSocket(`${address.replace("http", "ws")}/api/v1/live`, { headers: { cookie: headers.cookie } });
  onTestFinished(() => socket.terminate());
  const heard: string[] = [];
  const said: string[] = [];
  socket.on("message", (data) => {
    said.push(String(data));
    const { feeder } = JSON.parse(String(data));
    if (feeder !== undefined) heard.push(feeder);
  });
  await once(socket, "open");
  return { socket, heard, said };
}

describe("a browser that watches", () => {
  it("hears of its own yards alone, and is sent to ask anew when those change", async () => {
    const house = await openHouse();
    const bo = await invited(house, "Bo", "helper");
    const boId = (await asked(house, "GET", "/api/v1/me", bo)).json().id;
    const other = { ...(await house.store.yards.yards())[0], id: "birch", name: "Birch" };
    await house.store.yards.addYard(other as never, boId, house.clock.now());
    const address = await house.app.listen({ port: 0, host: "127.0.0.1" });
    const [adas, bos] = [await watching(address, house.keeper), await watching(address, bo)];

    house.ports.live.changed("birch", "larch", 1);
    house.ports.live.changed(house.yard, "rowan", 1);
    await expect.poll(() => bos.heard).toEqual(["larch", "rowan"]);
    await expect.poll(() => adas.heard).toEqual(["rowan"]);

    const closed = once(bos.socket, "close");
    await asked(house, "DELETE", `/api/v1/yards/${house.yard}/people/${boId}`, house.keeper);
    expect((await closed)[0]).toBe(1012);
    const again = await watching(address, bo);
    house.ports.live.changed(house.yard, "rowan", 2);
    house.ports.live.changed("birch", "larch", 2);
    await expect.poll(() => again.heard).toEqual(["larch"]);
    expect(adas.socket.readyState).toBe(adas.socket.OPEN);
  });

  it("is told when phones of its own person come or go, and of nobody else's", async () => {
    const house = await openHouse();
    const bo = await invited(house, "Bo", "helper");
    const address = await house.app.listen({ port: 0, host: "127.0.0.1" });
    const [adas, bos] = [await watching(address, house.keeper), await watching(address, bo)];
    await phoneOf(house, house.keeper, "kitchen");
    await expect.poll(() => adas.said).toEqual(['{"kind":"phones"}']);
    const endpoint = "https://push.example/kitchen";
    await asked(house, "POST", "/api/v1/phones/forget", house.keeper, { endpoint });
    await expect.poll(() => adas.said).toEqual(['{"kind":"phones"}', '{"kind":"phones"}']);
    await phoneOf(house, bo, "bench");
    await expect.poll(() => bos.said).toEqual(['{"kind":"phones"}']);
    expect(adas.said).toHaveLength(2);
  });

  it("is told when a push service has given up one of its phones", async () => {
    const house = await openHouse();
    const address = await house.app.listen({ port: 0, host: "127.0.0.1" });
    await phoneOf(house, house.keeper, "kitchen");
    const { said } = await watching(address, house.keeper);
    house.push.answer = { kind: "subscriptionGone", words: "410" };
    await asked(house, "POST", "/api/v1/phones/test", house.keeper);
    await expect.poll(() => said).toContain('{"kind":"phones"}');
  });

  it("is answered when it asks whether anybody is there, and anything else is let pass", async () => {
    const house = await openHouse();
    const address = await house.app.listen({ port: 0, host: "127.0.0.1" });
    const { socket, said } = await watching(address, house.keeper);
    socket.send("what else");
    socket.send('{"kind":"ping"}');
    await expect.poll(() => said).toEqual(['{"kind":"pong"}']);
    expect(socket.readyState).toBe(socket.OPEN);
  });

  it("is sent to ask anew when practice begins: the practice yard wasn't there when it came", async () => {
    const house = await openHouse();
    const address = await house.app.listen({ port: 0, host: "127.0.0.1" });
    const { socket } = await watching(address, house.keeper);
    const closed = once(socket, "close");
    await asked(house, "POST", "/api/v1/practice", house.keeper);
    expect((await closed)[0]).toBe(1012);
    await asked(house, "DELETE", "/api/v1/practice", house.keeper);
  });
});
