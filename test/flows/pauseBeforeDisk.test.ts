import { expect, it } from "vitest";
import { type LogDisk, openLogDisk } from "../../server/adapters/store/durableLog.ts";
import { requestOrder, requestYardOrder } from "../../server/flows/keeperActions.ts";
import type { Ports } from "../../server/ports.ts";
import { openTestServer } from "../support/testServer.ts";

/** A yard with two feeders on live sockets, and a disk that writes a commit only when the test lets it. */
async function yardOnSlowDisk() {
  let letDiskWrite: () => void = () => undefined;
  let written: Promise<void> = Promise.resolve();
  const openDisk = (file: string): LogDisk => ({ ...openLogDisk(file), sync: () => written });
  const server = await openTestServer({ openDisk });
  const rowan = await server.addFeeder({ name: "Rowan" });
  const larch = await server.addFeeder({ name: "Larch" });
  const sent: string[] = [];
  let isCommitted: () => void = () => undefined;
  const committed = new Promise<void>((resolve) => {
    isCommitted = resolve;
  });
  const { store, feederLink } = server.ports;
  const ports: Ports = {
    ...server.ports,
    feederLink: {
      ...feederLink,
      sendOrders: (feeder, orders) => sent.push(...orders.map(({ kind }) => `${kind} ${feeder}`)) > 0,
    },
    store: {
      ...store,
      transaction: (work, whenCommitted) =>
        store.transaction(work, (result) => {
          whenCommitted?.(result);
          isCommitted();
        }),
    },
  };
  const order = (kind: "pause" | "resume") => ({ id: `${kind}-1`, kind, until: null, by: "Astrid" });
  written = new Promise((resolve) => {
    letDiskWrite = resolve;
  });
  return { ports, sent, letDiskWrite, committed, order, rowan: rowan.feeder, larch: larch.feeder };
}

it("sends a pause to a live feeder before the disk has it, and once", async () => {
  const { ports, sent, letDiskWrite, committed, order, rowan } = await yardOnSlowDisk();
  const answer = requestOrder(ports, rowan.id, order("pause"));
  await committed;
  expect(sent).toEqual([`pause ${rowan.id}`]);
  letDiskWrite();
  const row = await answer;
  expect(sent).toEqual([`pause ${rowan.id}`]);
  expect(row?.state.orders.newest).toMatchObject({ kind: "pause", status: "sent" });
});

it("sends the pause of a whole yard to each of its feeders before the disk has it", async () => {
  const { ports, sent, letDiskWrite, committed, order, rowan, larch } = await yardOnSlowDisk();
  const answer = requestYardOrder(ports, rowan.yard, order("pause"));
  await committed;
  expect([...sent].sort()).toEqual([`pause ${rowan.id}`, `pause ${larch.id}`].sort());
  letDiskWrite();
  expect((await answer).feeders).toHaveLength(2);
  expect(sent).toHaveLength(2);
});

it("sends a resume only once the disk has it", async () => {
  const { ports, sent, letDiskWrite, committed, order, rowan } = await yardOnSlowDisk();
  const answer = requestOrder(ports, rowan.id, order("resume"));
  await committed;
  expect(sent).toEqual([]);
  letDiskWrite();
  await answer;
  expect(sent).toEqual([`resume ${rowan.id}`]);
});
