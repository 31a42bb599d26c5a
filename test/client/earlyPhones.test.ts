// @vitest-environment happy-dom
import { beforeEach, describe, expect, it, vi } from "vitest";
import { phoneChangeCount } from "../../client/state/home.ts";
import { loadPhonesEarly, loadPhonesForHome } from "../../client/state/phones.ts";
import { phonesViewFixture } from "./viewFixtures.ts";

let requests = 0;
beforeEach(() => {
  requests = 0;
  vi.stubGlobal("fetch", async () => {
    requests += 1;
    return Response.json(phonesViewFixture(Date.now()));
  });
});

describe("the early request for the phones", () => {
  it("serves the first page once, and is repeated after that", async () => {
    await loadPhonesEarly();
    await loadPhonesForHome();
    expect(requests).toBe(1);
    await loadPhonesForHome();
    expect(requests).toBe(2);
  });

  it("is not used once the phones have changed", async () => {
    await loadPhonesEarly();
    phoneChangeCount.value += 1;
    await loadPhonesForHome();
    expect(requests).toBe(2);
  });
});
