import { describe, expect, it } from "vitest";
import type { HomeView } from "../../server/contract/api.ts";
import { type House, openHouse } from "../support/house.ts";
import { asked, invited } from "../support/people.ts";

type Method = "GET" | "POST" | "PATCH" | "DELETE";
type Door = readonly [Method, string, object?];

const feederDoors: readonly Door[] = [
  ["GET", "/api/v1/feeders/:feeder"],
  ["GET", "/api/v1/feeders/:feeder/day"],
  ["GET", "/api/v1/feeders/:feeder/log"],
  ["POST", "/api/v1/feeders/:feeder/refills", { id: "refill-001", what: { kind: "filled" } }],
  ["POST", "/api/v1/feeders/:feeder/cleaned"],
  ["POST", "/api/v1/feeders/:feeder/orders", { id: "pause-0001", kind: "pause" }],
  ["POST", "/api/v1/feeders/:feeder/alarms/foodLow/acknowledge"],
  ["POST", "/api/v1/feeders/:feeder/alarms/foodLow/reset"],
  ["POST", "/api/v1/feeders/:feeder/alarms/foodLow/shelve", { until: "2026-01-16T09:00:00Z" }],
];
const keepersFeederDoors: readonly Door[] = [
  ["POST", "/api/v1/feeders/:feeder/alarms/foodLow/out-of-service", { why: "the winter is over" }],
  ["POST", "/api/v1/feeders/:feeder/alarms/foodLow/return-to-service"],
  ["PATCH", "/api/v1/feeders/:feeder", { food: "suet" }],
  ["POST", "/api/v1/feeders/:feeder/key"],
  ["DELETE", "/api/v1/feeders/:feeder"],
];
const yardDoors: readonly Door[] = [
  ["GET", "/api/v1/yards/:yard/people"],
  ["GET", "/api/v1/yards/:yard/rates"],
];
const keepersYardDoors: readonly Door[] = [
  ["PATCH", "/api/v1/yards/:yard", { name: "Alder Croft" }],
  ["POST", "/api/v1/yards/:yard/invites", { role: "keeper" }],
];

const through = (house: House, feeder: string, [method, url, body]: Door, headers: Record<string, string>) =>
  asked(house, method, url.replace(":feeder", feeder).replace(":yard", house.yard), headers, body);

describe("whoever isn't of a yard", () => {
  it("finds none of it: not its feeders, nor its people, nor that it is there", async () => {
    const house = await openHouse();
    const { feeder } = await house.addFeeder();
    const bo = await invited(house, "Bo", "helper");
    // They helped here, and belong to another yard now.
    const { id } = (await asked(house, "GET", "/api/v1/me", bo)).json();
    const made = { name: "Larch Field", zone: "Europe/Stockholm" };
    const { yard } = (await asked(house, "POST", "/api/v1/yards", house.keeper, made)).json();
    await house.store.people.addMember(yard.id, id, "helper", house.clock.now());
    await asked(house, "DELETE", `/api/v1/yards/${house.yard}/people/${id}`, house.keeper);

    expect(((await asked(house, "GET", "/api/v1/home", bo)).json() as HomeView).yards).toMatchObject([{ id: yard.id }]);
    for (const door of [...feederDoors, ...keepersFeederDoors, ...yardDoors, ...keepersYardDoors]) {
      const answer = await through(house, feeder.id, door, bo);
      expect(`${door[0]} ${door[1]} ${answer.statusCode}`).toBe(`${door[0]} ${door[1]} 404`);
      expect(answer.json()).toEqual((await through({ ...house, yard: "no-yard" }, "no-feeder", door, bo)).json());
    }
    const added = await asked(house, "POST", "/api/v1/feeders", bo, { yard: house.yard, name: "Larch" });
    expect(added.json().errors).toEqual([{ field: "yard", problem: "is no yard of yours" }]);
    expect((await asked(house, "POST", "/api/v1/practice", bo)).statusCode).toBe(403);
    expect((await house.look(feeder.id)).settings.food).toBe(feeder.settings.food);
  });
});

describe("a helper", () => {
  it("looks, refills, pauses, acknowledges, resets and shelves", async () => {
    const house = await openHouse();
    const { feeder } = await house.addFeeder();
    const bo = await invited(house, "Bo", "helper");
    for (const door of [...feederDoors, ...yardDoors]) {
      expect(`${door[1]} ${(await through(house, feeder.id, door, bo)).statusCode}`).toBe(`${door[1]} 200`);
    }
    expect((await house.look(feeder.id)).pause.order?.askedBy).toBe("Bo");
  });

  it("is refused in words what only keepers may: settings, keys, yards, people, practice, out of service", async () => {
    const house = await openHouse();
    const { feeder } = await house.addFeeder();
    const bo = await invited(house, "Bo", "helper");
    const doors: Door[] = [
      ...keepersFeederDoors,
      ...keepersYardDoors,
      ["POST", "/api/v1/feeders", { yard: house.yard, name: "Larch" }],
      ["POST", "/api/v1/practice"],
      ["DELETE", "/api/v1/practice"],
      ["POST", "/api/v1/practice/fault", { fault: "jam" }],
    ];
    for (const door of doors) {
      const answer = await through(house, feeder.id, door, bo);
      expect(`${door[0]} ${door[1]} ${answer.statusCode}`).toBe(`${door[0]} ${door[1]} 403`);
      expect(answer.json().detail).toContain("Only a keeper of this yard may change that.");
    }
    expect((await house.look(feeder.id)).settings).toEqual(feeder.settings);
  });
});
