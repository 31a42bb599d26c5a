// @vitest-environment happy-dom
import { fireEvent, screen, waitFor, within } from "@testing-library/preact";
import { describe, expect, it } from "vitest";
import { ownEndpoint } from "../../client/state/ownPhone.ts";
import { phones, storedEndpoint } from "../../client/state/phones.ts";
import { awaitTestReceipts, type TestPushProgress } from "../../client/state/testPush.ts";
import type { HomeView, PhonesView } from "../../server/contract/api.ts";
import { type FakeConnection, openPage, problem, withFakeConnection } from "./page.tsx";
import { peopleViewFixture } from "./peopleFixture.ts";
import { phonesViewFixture } from "./viewFixtures.ts";

let server: FakeConnection;
withFakeConnection((opened) => {
  server = opened;
});

const reply =
  (body: unknown, status = 200) =>
  () => ({ status, body });
const asHelper = (home: HomeView): HomeView => ({
  ...home,
  yards: home.yards.map((yard) => ({ ...yard, role: "helper" as const })),
});

describe("the phones", () => {
  it("each show when they last displayed a notification, or that they are not reachable", async () => {
    await openPage("/phones");
    const entry = (name: string) =>
      within(screen.getByRole("heading", { level: 3, name }).closest("li") as HTMLElement);
    await screen.findByRole("heading", { level: 3, name: "Android phone" });
    expect(entry("Android phone").getByText("Reachable.").parentElement?.textContent).toMatch(/shown .*\d\d:\d\d\.$/);
    expect(entry("Old phone").getByText("Not confirmed.").parentElement?.textContent).toContain(
      "has shown none of the notifications",
    );
    expect(entry("Kitchen tablet").getByText("Not reachable.")).toBeTruthy();
    expect(entry("Kitchen tablet").getAllByText(/no longer knows it/)).toHaveLength(1); // shown once, not twice
  });

  it("warn where there is none, also on the first page", async () => {
    server.replies["GET /phones"] = reply(phonesViewFixture(Date.now(), { phones: [] }));
    await openPage("/");
    expect(await screen.findByText("Notifications are off on all your phones.")).toBeTruthy();
    fireEvent.click(screen.getByRole("link", { name: "Fix it" }));
    expect(await screen.findByText(/Turn on notifications, or you get no alarms/)).toBeTruthy();
  });

  it("offer to remove the one that was used the longest ago, where a person has as many as they may", async () => {
    const [first, ...others] = phonesViewFixture(Date.now()).phones;
    if (!first) throw new Error("expected a phone");
    server.replies["GET /phones"] = reply(
      phonesViewFixture(Date.now(), { phones: [first, ...others], phonesMax: others.length + 1 }),
    );
    server.replies["POST /phones/forget"] = reply(phonesViewFixture(Date.now(), { phones: [first] }));
    await openPage("/phones");
    expect(await screen.findByText(/You have \d phones, the maximum/)).toBeTruthy();
    expect(screen.queryByRole("button", { name: "Turn on" })).toBeNull();
    const notice = within(screen.getByText(/Remove one to add this one/).closest(".notice") as HTMLElement);
    fireEvent.click(notice.getByRole("button", { name: /^Remove / }));
    await waitFor(() => expect(server.requests.some(({ path }) => path === "/phones/forget")).toBe(true));
  });

  it("don't warn while one of them is reachable", async () => {
    await openPage("/");
    await waitFor(() => expect(phones.value).not.toBeNull());
    expect(document.querySelector(".notice.warning")).toBeNull();
  });

  it("warn of this phone when its browser lost its subscription", async () => {
    storedEndpoint.value = "https://push.example/a";
    await openPage("/");
    expect(await screen.findByText(/^This phone \(Android phone\) gets no notifications/)).toBeTruthy();
    ownEndpoint.value = "https://push.example/a";
    await waitFor(() => expect(screen.queryByText(/gets no notifications/)).toBeNull());
  });

  it("show no warning in a yard without feeders", async () => {
    server.home = { ...server.home, yards: server.home.yards.map((yard) => ({ ...yard, feeders: [] })) };
    server.replies["GET /phones"] = reply(phonesViewFixture(Date.now(), { phones: [] }));
    await openPage("/");
    await screen.findAllByText(/No feeders yet/);
    expect(document.querySelector(".notice.warning")).toBeNull();
  });
});

describe("a test", () => {
  const before = phonesViewFixture(Date.now());
  const later = (label: string): PhonesView => ({
    ...before,
    phones: before.phones.map((phone) =>
      phone.label === label ? { ...phone, lastDisplayedAt: "2026-11-25T13:00:00Z" } : phone,
    ),
  });
  const test = {
    outcomes: [
      { label: "Android phone", outcome: "accepted" as const, text: "taken" },
      { label: "Kitchen tablet", outcome: "gone" as const, text: "This phone no longer receives notifications." },
    ],
  };
  async function run(views: readonly PhonesView[], isOver = () => false) {
    const progress: (readonly TestPushProgress[])[] = [];
    let loads = 0;
    const load = async () => ({ kind: "ok" as const, value: views[Math.min(loads++, views.length - 1)] as PhonesView });
    await awaitTestReceipts(test, before, {
      load,
      report: (outcomes) => void progress.push(outcomes),
      isOver,
      pause: () => Promise.resolve(),
    });
    return { receipts: progress.map((outcomes) => outcomes.map(({ receipt }) => receipt)), loads: () => loads };
  }

  it("ends as soon as the phone reports that it displayed it", async () => {
    const { receipts, loads } = await run([before, later("Android phone")]);
    expect(receipts[0]).toEqual(["pending", "none"]);
    expect(receipts.at(-1)).toEqual(["displayed", "none"]);
    expect(loads()).toBe(2);
  });

  it("shows after half a minute that nothing was displayed, whatever other phones displayed", async () => {
    const { receipts, loads } = await run([later("Old phone")]);
    expect(receipts.at(-1)).toEqual(["missing", "none"]);
    expect(loads()).toBe(20);
  });

  it("stops polling when the screen is left", async () => {
    const { loads } = await run([before], () => true);
    expect(loads()).toBe(0);
  });
});

describe("the recipients of a yard", () => {
  const entry = async (name: RegExp) =>
    within((await screen.findByRole("heading", { level: 3, name })).closest("li") as HTMLElement);

  it("are listed in their escalation order, each with how to reach them", async () => {
    await openPage("/yards/alder-croft/recipients");
    await entry(/^Ada/);
    expect(
      screen.getByText(/^Ada is notified first\. .* within 15 minutes, the next person is notified\.$/),
    ).toBeTruthy();
    const names = [...document.querySelectorAll(".recipient h3")].map((heading) => heading.firstChild?.textContent);
    expect(names).toEqual(["Ada", "Bo", "Cilla"]);
    expect((await entry(/^Bo/)).getByText(/Quiet hours 22:00 to 06:30, including urgent alarms/)).toBeTruthy();
    expect((await entry(/^Cilla/)).getByText("Not reachable.")).toBeTruthy();
  });

  it("are moved by a keeper, one place at a time", async () => {
    for (const id of ["bo", "keeper"])
      server.replies[`PATCH /yards/alder-croft/people/${id}`] = reply(peopleViewFixture(Date.now()));
    await openPage("/yards/alder-croft/recipients");
    fireEvent.click((await entry(/^Bo/)).getByRole("button", { name: "Move up for Bo" }));
    await waitFor(() => expect(server.posts()).toHaveLength(2));
    expect(server.posts().map(({ path, body }) => [path.split("/").at(-1), body])).toEqual([
      ["bo", { escalationOrder: 1 }],
      ["keeper", { escalationOrder: 2 }],
    ]);
    expect((await entry(/^Ada/)).queryByRole("button", { name: "Move up for Ada" })).toBeNull();
    expect((await entry(/^Cilla/)).queryByRole("button", { name: "Move down for Cilla" })).toBeNull();
  });

  it("set their own quiet hours", async () => {
    server.replies["PATCH /yards/alder-croft/people/keeper"] = reply(peopleViewFixture(Date.now()));
    await openPage("/yards/alder-croft/recipients");
    fireEvent.input(await screen.findByLabelText("From"), { target: { value: "21:30" } });
    fireEvent.input(screen.getByLabelText("To"), { target: { value: "06:00" } });
    fireEvent.click(screen.getByLabelText("Do not send it"));
    fireEvent.click(screen.getByRole("button", { name: "Save" }));
    await waitFor(() => expect(server.posts()).toHaveLength(1));
    expect(server.posts()[0]?.body).toEqual({
      quietHours: { from: "21:30", to: "06:00" },
      urgentBreaks: true,
      digestBy: "none",
    });
  });

  it("are joined by the person with the link, which is shown once", async () => {
    server.replies["POST /yards/alder-croft/invites"] = (body) => ({
      status: 201,
      body: { token: `secret-${(body as { role: string }).role}`, expiresAt: "2026-11-28T13:00:00Z" },
    });
    await openPage("/yards/alder-croft/recipients");
    fireEvent.click(await screen.findByRole("button", { name: "Create link" }));
    expect(await screen.findByText(`${location.origin}/join#secret-helper`)).toBeTruthy();
  });

  it("who are helpers see all of it and can change only what is theirs", async () => {
    server.home = asHelper(server.home);
    server.replies["GET /yards/alder-croft/people"] = reply({
      ...peopleViewFixture(Date.now(), "bo"),
      invites: [],
    });
    await openPage("/yards/alder-croft/recipients");
    await entry(/^Ada/);
    expect(screen.getByRole("heading", { name: "Your notifications" })).toBeTruthy();
    expect(screen.getByRole("button", { name: "Leave this yard", hidden: true })).toBeTruthy();
    for (const name of [/Earlier/, /Later/, /Make/, /minutes/, /Remove/])
      expect(screen.queryByRole("button", { name, hidden: true }), String(name)).toBeNull();
  });

  it("who are helpers aren't offered the yard's settings, a feeder's, or a new feeder", async () => {
    server.home = asHelper(server.home);
    await openPage("/");
    await screen.findByRole("link", { name: "Larch" });
    expect(screen.queryByRole("link", { name: "Add a feeder" })).toBeNull();
    fireEvent.click(screen.getByRole("link", { name: "Yard settings Alder Croft" }));
    expect(await screen.findByText(/Only keepers of Alder Croft can change this/)).toBeTruthy();
    expect(screen.queryByRole("button", { name: "Save" })).toBeNull();
  });
});

describe("an invitation", () => {
  it("accepts a new person with a name and a passphrase, and leads to the screen that turns notifications on", async () => {
    server.signedOut = true;
    server.replies["POST /join"] = () => {
      server.signedOut = false;
      return { status: 201, body: { keeper: { name: "Bo" }, yard: { id: "alder-croft", name: "Alder Croft" } } };
    };
    await openPage("/join#some-secret");
    fireEvent.input(await screen.findByLabelText("Your name"), { target: { value: "Bo" } });
    fireEvent.input(screen.getByLabelText("Passphrase"), { target: { value: "three grey feathers" } });
    fireEvent.click(screen.getByRole("button", { name: "Join" }));
    await waitFor(() => expect(location.pathname).toBe("/phones"));
    expect(server.posts()[0]?.body).toEqual({ token: "some-secret", name: "Bo", passphrase: "three grey feathers" });
    expect(location.hash).toBe("");
  });

  it("accepts a signed-in person by the link alone", async () => {
    server.replies["POST /join"] = reply({ keeper: { name: "Keeper" }, yard: { id: "y", name: "Alder Croft" } }, 201);
    await openPage("/join#some-secret");
    await screen.findByText("You are signed in as Keeper.");
    fireEvent.click(screen.getByRole("button", { name: "Join" }));
    await waitFor(() => expect(server.posts()[0]?.body).toEqual({ token: "some-secret" }));
  });

  it("shows why it is not accepted", async () => {
    server.replies["POST /join"] = () => ({ status: 401, body: problem(401, "This link has been used.") });
    server.signedOut = true;
    await openPage("/join#some-secret");
    fireEvent.click(await screen.findByRole("button", { name: "Join" }));
    expect(await screen.findByText("This link has been used.")).toBeTruthy();
    expect(screen.getByLabelText("Your name")).toBeTruthy(); // and the form stays
  });

  it("without its secret is reported as incomplete", async () => {
    await openPage("/join");
    expect(await screen.findByText(/This link is not complete/)).toBeTruthy();
  });
});
