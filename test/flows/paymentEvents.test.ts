import { describe, expect, it } from "vitest";
import { instantOf } from "../../server/domain/instant.ts";
import { paymentEvents } from "../../server/flows/pure/paymentEvents.ts";
import type { RecordedEvent } from "../../server/ports.ts";

const recorded = (body: object): RecordedEvent =>
  ({ boot: "b-7", seq: 4, recordedAt: instantOf("2026-11-24T11:40:00Z"), body: JSON.stringify(body) }) as RecordedEvent;

describe("the stored events of a day", () => {
  it("tell what a keeper ordered from what the feeder's own program gave", () => {
    const given = ["keeper", "press", "timer", "deposit"].map((cause) =>
      recorded({ seq: 4, uptimeMs: 1_000, kind: "portion", cause, motorMs: 900 }),
    );
    const isOrdered = paymentEvents(given, []).map((event) => event.kind === "portion" && event.isOrdered);
    expect(isOrdered).toEqual([true, false, false, false]);
  });

  it("are read also of a start whose boot id was used before", () => {
    const deposit = { seq: 4, uptimeMs: 1_000, kind: "deposit", metal: true };
    const again = { ...recorded(deposit), boot: "b-7#2" } as RecordedEvent;
    expect(paymentEvents([again], [])).toMatchObject([{ kind: "deposit", of: "b-7#2 4" }]);
  });
});
