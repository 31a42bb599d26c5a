import { describe, expect, it } from "vitest";
import { notificationEmail } from "../../../server/domain/email/notificationEmail.ts";
import { faultKinds } from "../../../server/domain/faults.ts";
import { instantOf } from "../../../server/domain/instant.ts";
import { notificationFixture } from "../../support/notificationFixture.ts";

const larch = { yardName: "Alder Croft", feederName: "Larch", link: "https://pieward.example/feeders/f1" };
const urgent = notificationFixture({
  fault: "trayJammed",
  priority: "urgent",
  title: "Larch: tray jammed",
  body: "The motor ran four times and nothing fell.\nPause the feeder, then loosen the food in the tray.",
  topic: "alarm-trayJammed-f1",
  raisedAt: instantOf("2026-01-15T07:00:00Z"),
  actions: ["acknowledge", "pause"],
});

describe("a notification as an e-mail", () => {
  it("has in plain text the fault, the caution, the place and the link", () => {
    expect(notificationEmail(urgent, larch).text).toBe(
      [
        "Larch: tray jammed",
        "",
        "The motor ran four times and nothing fell.",
        "Pause the feeder, then loosen the food in the tray.",
        "",
        "Caution: switch off and unplug before you open it: a motor that is stuck",
        "can start again, and a pause doesn't make it safe to touch.",
        "",
        "Feeder: Larch. Yard: Alder Croft.",
        "",
        "Open and acknowledge:",
        "https://pieward.example/feeders/f1",
        "",
        "-- ",
        "You get this e-mail because you are a recipient of Alder Croft. You can",
        "remove your address in Pieward.",
        "",
      ].join("\n"),
    );
  });

  it("says the same in HTML, with a way to the page", () => {
    const { html, subject } = notificationEmail(urgent, larch);
    expect(subject).toBe("Larch: tray jammed");
    for (const words of [
      "The motor ran four times and nothing fell.",
      "<strong>Caution:</strong> switch off and unplug",
      "Feeder: Larch. Yard: Alder Croft.",
      'href="https://pieward.example/feeders/f1"',
      "You can remove your address in Pieward.",
    ]) {
      expect(html).toContain(words);
    }
  });

  it("promises no page where no public address is known", () => {
    const { text, html } = notificationEmail(urgent, { ...larch, link: null });
    expect(html).not.toContain("href");
    expect(text).not.toMatch(/^Open/m);
  });

  it("names only the yard where it is about no feeder", () => {
    expect(notificationEmail(urgent, { ...larch, feederName: null }).text).toContain("\nYard: Alder Croft.\n");
  });

  it("names no place in a test e-mail", () => {
    const { text } = notificationEmail(notificationFixture({ fault: null }), {
      yardName: null,
      feederName: null,
      link: null,
    });
    expect(text).not.toContain("Yard");
    expect(text).toContain("Thursday.\n\n-- \nYou get this e-mail");
  });

  it.each(["motorStalled", "motorNotTurning", "trayJammed"] as const)("warns of the moving parts at %s", (fault) => {
    expect(notificationEmail({ ...urgent, fault }, larch).text).toContain("Caution: switch off and unplug");
  });
  it.each(["chargingInFrost", "batteryFreezing"] as const)("warns of the frozen battery at %s", (fault) => {
    expect(notificationEmail({ ...urgent, fault }, larch).text).toMatch(/Caution: never charge/);
  });
  it.each(["supplyWeak", "feederSilent"] as const)("leaves mains to an electrician at %s", (fault) => {
    expect(notificationEmail({ ...urgent, fault }, larch).text).toContain("a qualified electrician");
  });

  it("warns of nothing where nothing can hurt, or where all is well again", () => {
    const cautious = (different: Parameters<typeof notificationFixture>[0]) =>
      notificationEmail({ ...urgent, ...different }, larch).text.includes("Caution");
    expect(cautious({ fault: "foodLow" })).toBe(false);
    expect(cautious({ fault: null })).toBe(false);
    expect(cautious({ isClosing: true })).toBe(false);
    expect(cautious({})).toBe(true);
  });

  it("is in one thread with the other e-mails of the same raise, and not with those of an earlier one", () => {
    const topic = (different: Parameters<typeof notificationFixture>[0]) =>
      notificationEmail({ ...urgent, ...different }, larch).topic;
    expect(topic({ title: "Larch: tray still jammed" })).toBe(topic({}));
    expect(topic({ raisedAt: instantOf("2026-01-09T07:00:00Z") })).not.toBe(topic({}));
    expect(topic({ topic: "alarm-trayJammed-f2" })).not.toBe(topic({}));
  });

  it("can be written of every fault", () => {
    for (const fault of faultKinds) expect(notificationEmail({ ...urgent, fault }, larch).text).toContain("Larch");
  });
});
