import { readFileSync } from "node:fs";
import { describe, expect, it } from "vitest";
import type { PlanView } from "../../server/contract/planView.ts";
import { passwordOf } from "../support/brokerFeeder.ts";
import { addBrokerFeeder, openBrokerServer } from "../support/brokerServer.ts";
import { feedingExample } from "../support/feedingExample.ts";
import { openInterpreter, programFolder, startBrokerBoard } from "../support/microPython.ts";
import { orderStatus, requestOrder } from "../support/orders.ts";
import { requestAs } from "../support/people.ts";

/**
 * The microcontroller's program over the distribution's broker with the access list of `deploy/broker`, on MicroPython's WebAssembly port,
 * which has neither sockets nor TLS: its bytes are carried. No board was connected.
 */

interface StoredEvent {
  readonly kind: string;
  readonly boot: string;
  readonly seq: number;
  readonly paysFor?: number | null;
  readonly outcome?: string;
}

const cap = '"cap", 0.8, True, True';

describe("a microcontroller's reports over a broker", () => {
  it("are each stored once, and pause and plan come over its own topics, through the broker's end and a power cut", {
    timeout: 120_000,
  }, async () => {
    const { broker, server } = await openBrokerServer();
    const place = { latitudeDegrees: 59.5, longitudeDegrees: 17.8 };
    await requestAs(server, "PATCH", `/api/v1/yards/${server.yard}`, server.keeper, { place });
    // So seldom that pause, resume and plan can only come over the broker's own topics.
    const { id, key } = await addBrokerFeeder(server, broker, { portionGrams: 2, reportEverySeconds: 600 });
    const start = (boot: string, flash?: ReadonlyMap<string, Uint8Array>) =>
      startBrokerBoard(server, broker.port, [boot, key, id, passwordOf(id)], flash);
    const stored = async (): Promise<StoredEvent[]> =>
      (await server.store.records.events(id, 0 as never, (server.clock.now() + 60_000) as never, 10_000)).map(
        ({ boot, seq, body }) => ({ ...(JSON.parse(body) as StoredEvent), boot, seq }),
      );
    const view = () => server.runPeriodicCheck(id);
    const status = async () => orderStatus(await view());

    let board = await start("b-1");
    await board.run(5_000);
    expect(board.state()).toMatchObject({ told: ["The broker is connected."], waiting: 0 });
    board.sense(cap);
    await board.run(5_000);
    expect(board.state()).toMatchObject({ timesOn: 1 });

    await requestAs(server, "PATCH", `/api/v1/feeders/${id}`, server.keeper, {
      feeding: { ...feedingExample, deposit: { ratio: { kind: "fixed", of: 1 }, atLeastSecondsBetween: 0 } },
    });
    await board.run(5_000);
    const plan = await requestAs(server, "GET", `/api/v1/feeders/${id}/plan`, server.keeper);
    expect((plan.json() as PlanView).confirmedVersion).toBe(1);
    await requestOrder(server, id, { id: "pause-0001", kind: "pause" });
    await board.run(5_000);
    expect([await status(), board.state().paused]).toEqual(["confirmed", true]);

    await broker.kill();
    await board.run(5_000);
    board.sense(cap); // nothing of the pause is paid later
    await board.run(5_000);
    expect(board.state().told.at(-1)).toContain("The broker is not connected");
    await broker.start();
    await board.run(120_000);
    expect(board.state().told.at(-1)).toBe("The broker is connected.");

    const before = board.state().timesOn;
    board = await start("b-2", board.flash()); // a power cut
    await board.run(5_000);
    expect(board.state()).toMatchObject({ paused: true, planVersion: 1 });
    await requestOrder(server, id, { id: "resume-0001", kind: "resume" });
    await board.run(5_000);
    expect([await status(), board.state().paused]).toEqual(["confirmed", false]);
    board.sense(cap);
    await board.run(5_000);
    await requestOrder(server, id, { id: "pause-0002", kind: "pause" }); // the next report
    await board.run(5_000);
    expect(board.state()).toMatchObject({ timesOn: 1, waiting: 0 });

    const events = await stored();
    for (const boot of ["b-1", "b-2"]) {
      const seqs = events.filter((event) => event.boot === boot).map(({ seq }) => seq);
      expect([...seqs].sort((a, b) => a - b)).toEqual(seqs.map((_, place) => place + 1));
    }
    expect(events.filter(({ kind }) => kind === "portion")).toHaveLength(before + 1);
    expect(events.filter(({ kind }) => kind === "trouble")).toEqual([]);
    expect(events.filter(({ kind }) => kind === "order").map(({ outcome }) => outcome)).toEqual([
      "done",
      "done",
      "done",
    ]);
  });

  it("take the memory that the README names", async () => {
    const cost = async (program: string): Promise<number> => {
      const python = await openInterpreter();
      const inUse = (lines: string): number => {
        python.runPython(`import gc\n${lines}\ngc.collect()`);
        python.runPython("figure = gc.mem_alloc()");
        return Number(python.globals.get("figure"));
      };
      const before = inUse(
        `import json\nfrom identity import Identity\nidentity, clock = Identity("pw_" + "k" * 43, "rowan-4f2a9c"), object()`,
      );
      return (inUse(program) - before) / 1_000;
    };
    const overHttp = await cost(
      "from report import HttpReportClient\nclient = HttpReportClient('http://192.168.1.20', identity, None, clock)",
    );
    const overBroker = await cost(`${clockOfTests}
from broker import BrokerReports
client = BrokerReports(None, identity, ("rowan-4f2a9c", "password"), Clock(), None, print)`);
    const readme = readFileSync(`${programFolder}/README.md`, "utf8").replace(/\s+/g, " ");
    const stated = /(\d+) KB over HTTP, (\d+) KB over a broker/.exec(readme)?.slice(1).map(Number) ?? [];
    expect(stated).toHaveLength(2);
    const apart = [overHttp, overBroker].map((kilobytes, place) => Math.abs(kilobytes - (stated[place] ?? 0)));
    expect(Math.max(...apart), `${overHttp} ${overBroker}`).toBeLessThan(1);
  });
});

const clockOfTests = "class Clock:\n  def ms(self):\n    return 0\n";
