import { readdirSync, readFileSync } from "node:fs";
import type { Interpreter } from "@micropython/micropython-webassembly-pyscript/micropython.mjs";
import { beforeAll, describe, expect, it } from "vitest";
import type { PlanView } from "../../server/contract/planView.ts";
import { feedingExample } from "../support/feedingExample.ts";
import { type Board, openInterpreter, programFolder, startBoard, type Way } from "../support/microPython.ts";
import { orderStatus, requestOrder } from "../support/orders.ts";
import { requestAs } from "../support/people.ts";
import { openTestServer } from "../support/testServer.ts";

/** The feeder's program for a microcontroller, run by MicroPython itself: its WebAssembly port. No board was connected. */

const testsIn = (file: string) =>
  [...readFileSync(`${programFolder}/${file}`, "utf8").matchAll(/^def (test_\w+)/gm)].map(([, name = ""]) => name);
const files = readdirSync(programFolder).filter((file) => /^test_\w+\.py$/.test(file));

describe.each(files)("%s on MicroPython", (file) => {
  const module = file.replace(".py", "");
  let python: Interpreter;
  beforeAll(async () => {
    python = await openInterpreter();
  });
  it.each(testsIn(file))("%s", (name) => {
    python.runPython(`import ${module}\n${module}.${name}()`);
  });
});

describe("the program on MicroPython", () => {
  it("has tests that fail where what they check is wrong", async () => {
    expect(files).toEqual(["test_board.py", "test_feeder.py", "test_power_cuts.py", "test_report.py", "test_spool.py"]);
    expect(files.flatMap(testsIn).length).toBeGreaterThan(50);
    const python = await openInterpreter();
    expect(() => python.runPython("from fakes import equal\nequal(1, 2)")).toThrow("expected 2, got 1");
  });

  it.each([
    ["carries out the feeding plan", "test_plan"],
    ["speaks MQTT", "test_mqtt"],
  ])("%s by the same files as the feeder's computer, which pass the same tests", async (_, tests) => {
    const python = await openInterpreter();
    python.runPython(`import unittest, ${tests}\nresult = unittest.main(${tests})`);
    python.runPython("summary = '%d %d' % (result.testsRun, result.failuresNum + result.errorsNum)");
    const count = [...readFileSync(`deploy/feeder/${tests}.py`, "utf8").matchAll(/ def test_/g)].length;
    expect(python.globals.get("summary")).toBe(`${count} 0`);
  });

  it("fits the memory that its README names", async () => {
    const python = await openInterpreter();
    /** Garbage is collected after a call, and what is still in use is counted in the next. */
    const inUse = (program: string): number => {
      python.runPython(`import gc\n${program}\ngc.collect()`);
      python.runPython("figure = gc.mem_alloc()");
      return Number(python.globals.get("figure"));
    };
    const empty = inUse("");
    const idle = inUse('from fakes import Rig\nrig = Rig("b-1", "pw_" + "k" * 43)\nrig.run(50, 50)') - empty;
    const most = inUse(`${longestAnswer}\n${heldAtMost}`) - empty;
    const readme = readFileSync(`${programFolder}/README.md`, "utf8").replace(/\s+/g, " ");
    const stated = /(\d+) KB when idle, (\d+) KB at most/.exec(readme)?.slice(1).map(Number) ?? [];
    expect(stated).toHaveLength(2);
    const apart = [idle, most].map((bytes, place) => Math.abs(bytes / 1_000 - (stated[place] ?? 0)));
    expect(Math.max(...apart)).toBeLessThan(3); // KB
  });
});

/** With a plan of fourteen days, each with 96 times of free food and as many for frost. */
const longestAnswer = `
import json
times = list(range(0, 86400, 900))
days = [{"from": 86400 * n, "to": 86400 * n + 86400, "portionsMax": 50, "free": times, "frost": times} for n in range(20000, 20014)]
each = {"ratios": [3] * 50, "betweenSeconds": 0}
plan = {"version": 1, "portionsEach": 1, "frostBelowCelsius": -10, "paysDepositsOverRation": True, "days": days, "press": each, "deposit": each}
answer = {"storedThrough": 40, "serverTime": "2026-01-15T09:00:00Z", "nextReportSeconds": 60, "orders": [], "plan": plan}
body = json.dumps(answer).encode()
del answer, plan, days, each, times`;

/** What is in use at once while the new plan is checked, with another in force, and 200 events that flash does not take. */
const heldAtMost = `
from plan import checked
rig.feeder.plan.take(json.loads(body)["plan"])
held = [json.loads(body)]
held.append(checked(held[0]["plan"]))
del body
for seq in range(200):
    rig.feeder.spool.add(seq, json.dumps({"kind": "visit", "seq": seq, "uptimeMs": 1000000}), False, 0)`;

interface StoredEvent {
  readonly kind: string;
  readonly boot: string;
  readonly seq: number;
  readonly earns?: boolean;
  readonly paysFor?: number | null;
  readonly cutShort?: boolean;
  readonly outcome?: string;
}

async function openFeeder(settings: object = {}) {
  const server = await openTestServer();
  const place = { latitudeDegrees: 59.5, longitudeDegrees: 17.8 };
  await requestAs(server, "PATCH", `/api/v1/yards/${server.yard}`, server.keeper, { place });
  const { feeder, key } = await server.addFeeder({ portionGrams: 2, reportEverySeconds: 30, ...settings });
  const port = Number(new URL(await server.app.listen({ host: "127.0.0.1", port: 0 })).port);
  const stored = async (): Promise<StoredEvent[]> =>
    (await server.store.records.events(feeder.id, 0 as never, (server.clock.now() + 60_000) as never, 10_000)).map(
      ({ boot, seq, body }) => ({ ...(JSON.parse(body) as StoredEvent), boot, seq }),
    );
  const view = () => server.runPeriodicCheck(feeder.id);
  const start = (boot: string, flash?: ReadonlyMap<string, Uint8Array>, signsAs: string | null = null) =>
    startBoard(server, port, [boot, key, signsAs], flash);
  return { server, feeder: feeder.id, stored, view, start };
}

const cap = '"cap", 0.8, True, True';

/** Drops a cap and runs for long enough to pay it. */
async function dropCap(board: Board, way: Way = "through") {
  board.sense('"perch"');
  board.sense(cap);
  await board.run(2_500, way);
}

describe("a microcontroller's reports to the real server", () => {
  it("are each stored once, through a lost answer, a pause, a plan and power cuts, and no portion falls while paused", async () => {
    const { server, feeder, stored, view, start } = await openFeeder();
    const pause = (id: string, kind: string) => requestOrder(server, feeder, { id, kind });
    let timesOn = 0;

    let board = await start("b-1");
    const boards = [board];
    await dropCap(board);
    await board.run(35_000);
    expect(board.state()).toMatchObject({ timesOn: 1, waiting: 0 });

    // The server has it, the feeder can't know; then the network is gone for two minutes.
    await dropCap(board);
    await board.run(35_000, "answerLost");
    await dropCap(board, "lost");
    await board.run(70_000, "lost");
    expect(board.state().waiting).toBeGreaterThan(0);
    await board.run(80_000);
    expect(board.state()).toMatchObject({ timesOn: 3, waiting: 0 });

    await requestAs(server, "PATCH", `/api/v1/feeders/${feeder}`, server.keeper, {
      feeding: { ...feedingExample, deposit: { ratio: { kind: "fixed", of: 1 }, atLeastSecondsBetween: 0 } },
    });
    await board.run(40_000);
    const plan = await requestAs(server, "GET", `/api/v1/feeders/${feeder}/plan`, server.keeper);
    expect((plan.json() as PlanView).confirmedVersion).toBe(1);
    expect(board.state().planVersion).toBe(1);

    // The pause arrives with the answer to a report, is confirmed, and holds through a power cut.
    await pause("pause-0001", "pause");
    await board.run(40_000);
    expect(orderStatus(await view())).toBe("confirmed");
    const beforePause = board.state().timesOn;
    await dropCap(board);
    timesOn += board.state().timesOn;
    board = await start("b-2", board.flash());
    boards.push(board);
    await dropCap(board, "lost");
    await dropCap(board);
    await board.run(40_000);
    expect(board.state()).toMatchObject({ paused: true, timesOn: 0, planVersion: 1 });
    expect(timesOn).toBe(beforePause);
    expect((await view()).pause).toMatchObject({ statement: { paused: true }, lost: null });

    await pause("resume-0001", "resume");
    await board.run(40_000);
    expect(board.state()).toMatchObject({ paused: false, timesOn: 0 }); // nothing of the pause is paid later

    // The power fails in the middle of a portion.
    await dropCap(board, "lost");
    board.sense(cap);
    await board.run(500, "lost");
    expect(board.state().isOn).toBe(true);
    timesOn += board.state().timesOn;
    board = await start("b-3", board.flash());
    boards.push(board);
    await board.run(60_000);
    expect(board.state()).toMatchObject({ waiting: 0, timesOn: 0 });

    const events = await stored();
    const names = events.map(({ boot, seq }) => `${boot} ${seq}`);
    expect(new Set(names).size).toBe(names.length);
    for (const boot of ["b-1", "b-2"]) {
      const seqs = events.filter((event) => event.boot === boot).map(({ seq }) => seq);
      expect([...seqs].sort((a, b) => a - b)).toEqual(seqs.map((_, place) => place + 1)); // without a gap
    }
    const portions = events.filter(({ kind }) => kind === "portion");
    expect(portions).toHaveLength(timesOn);
    expect(portions.filter(({ cutShort }) => cutShort)).toMatchObject([{ boot: "b-2" }]);
    for (const { boot, seq } of events.filter(({ kind, earns }) => kind === "deposit" && earns === true))
      expect(portions.filter((one) => one.boot === boot && one.paysFor === seq)).toHaveLength(1);
    // Of the pause. One more waited in RAM alone when the power failed: nothing was promised for it, as the README says.
    expect(events.filter(({ kind, earns }) => kind === "deposit" && earns === false)).toHaveLength(2);
    expect(events.filter(({ kind }) => kind === "order")).toMatchObject([{ outcome: "done" }, { outcome: "done" }]);
    expect(events.filter(({ kind }) => kind === "trouble")).toEqual([]);
    for (const { refused, unknown } of boards.flatMap(({ answers }) => answers))
      expect({ refused, unknown }).toEqual({ refused: [], unknown: [] });
  });

  it("are taken where they are signed, without a clock and without sending the key", async () => {
    const { server, feeder, stored, start } = await openFeeder();
    const seen: (string | undefined)[] = [];
    server.app.server.on("request", ({ headers }) => seen.push(headers.authorization));
    const board = await start("b-1", undefined, feeder);
    await dropCap(board);
    await board.run(70_000);
    expect((await stored()).map(({ kind }) => kind).sort()).toEqual(["deposit", "portion", "visit"]);
    expect(seen.length).toBeGreaterThan(2);
    for (const header of seen) expect(header).toMatch(/^Signature feeder="/);
  });
});
