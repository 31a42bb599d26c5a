import { once } from "node:events";
import { describe, expect, it, onTestFinished } from "vitest";
import { WebSocket } from "ws";
import { openHouse } from "../support/house.ts";
import { asked, invited } from "../support/people.ts";

/** A browser that watches, once it is let in. */
async function watching(address: string, headers: Record<string, string>) {
  const socket = new WebSocket(`${address.replace("http", "ws")}/api/v1/live`, { headers: { cookie: headers.cookie } });
  onTestFinished(() => socket.terminate());
  const heard: string[] = [];
  socket.on("message", (data) => heard.push(JSON.parse(String(data)).feeder));
  await once(socket, "open");
  return { socket, heard };
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
