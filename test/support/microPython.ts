import { readdirSync, readFileSync } from "node:fs";
import { connect, type Socket } from "node:net";
import { setTimeout as sleep } from "node:timers/promises";
import { type Interpreter, loadMicroPython } from "@micropython/micropython-webassembly-pyscript/micropython.mjs";
import { onTestFinished } from "vitest";
import type { Answer } from "../../server/contract/report.ts";
import { milliseconds } from "../../server/domain/instant.ts";
import type { TestServer } from "./testServer.ts";

/** MicroPython in this process, with the feeder's program as its files. */

export const programFolder = "deploy/microcontroller";
/** What the program shares with the feeder's computer. */
const shared = ["plan.py", "values.py", "mqtt.py", "broker.py", "test_plan.py", "test_mqtt.py"].map(
  (file) => `deploy/feeder/${file}`,
);

/**
 * The port has one interpreter at a time: each one that is opened takes the place of the one before. What the garbage collector
 * of JavaScript frees of an earlier one would be freed in the newest, so all of them are kept.
 */
const opened: unknown[] = [];

/** The program lies where it lies on a board. @param flash files of /events that an earlier interpreter left */
export async function openInterpreter(flash: ReadonlyMap<string, Uint8Array> = new Map()): Promise<Interpreter> {
  const python = await loadMicroPython({ linebuffer: true, stdout: () => undefined, stderr: () => undefined });
  const own = readdirSync(programFolder).map((file) => `${programFolder}/${file}`);
  for (const file of [...own, ...shared].filter((name) => name.endsWith(".py")))
    python.FS.writeFile(`/${file.slice(file.lastIndexOf("/") + 1)}`, readFileSync(file));
  opened.push(python);
  python.FS.mkdir("/events");
  for (const [name, data] of flash) python.FS.writeFile(`/events/${name}`, data);
  return python;
}

/** What becomes of a report on its way. */
export type Way = "through" | "lost" | "answerLost";

export interface BoardState {
  readonly isOn: boolean;
  readonly timesOn: number;
  readonly paused: boolean;
  readonly waiting: number;
  readonly planVersion: number | null;
}

/** One start of a feeder's program, whose bytes go over a real socket to a listening server. */
export interface Board {
  /** @param way of each report meanwhile */
  run(spanMs: number, way?: Way): Promise<void>;
  sense(event: string): void;
  state(): BoardState;
  /** What the server has answered. */
  readonly answers: readonly Pick<Answer, "refused" | "unknown">[];
  /** The files of its flash, as a power cut leaves them. */
  flash(): Map<string, Uint8Array>;
}

export async function startBoard(
  server: TestServer,
  port: number,
  arguments_: readonly (string | null)[],
  flash?: ReadonlyMap<string, Uint8Array>,
): Promise<Board> {
  const python = await openInterpreter(flash);
  const given = arguments_.map((one) => (one === null ? "None" : JSON.stringify(one))).join(", ");
  python.runPython(`from fakes import Rig\nrig = Rig(${given})\nrun, respond, state = rig.run, rig.respond, rig.state`);
  const [run, respond, state] = ["run", "respond", "state"].map((name) => python.globals.get(name)) as [
    (ms: number, step: number) => string,
    (text: string) => void,
    () => string,
  ];
  opened.push(run, respond, state);
  const stepMs = 100;
  const answers: Answer[] = [];
  return {
    answers,
    async run(spanMs, way = "through") {
      for (let left = spanMs; left > 0; ) {
        const [ran, request] = JSON.parse(run(left, stepMs)) as [number, string | null];
        left -= ran;
        server.clock.advance(milliseconds(ran));
        if (request === null) continue;
        const answer = way === "lost" ? "" : await exchange(port, request);
        if (answer.startsWith("HTTP/1.1 200")) answers.push(JSON.parse(answer.slice(answer.indexOf("\r\n\r\n"))));
        respond(way === "through" ? answer : "");
      }
    },
    sense: (event) => python.runPython(`rig.sense(${event})`),
    state: () => JSON.parse(state()),
    flash: () => new Map(filesOf(python).map((name) => [name, python.FS.readFile(`/events/${name}`)])),
  };
}

const filesOf = (python: Interpreter) => python.FS.readdir("/events").filter((name) => !name.startsWith("."));

/** Sends the bytes and gives all that comes until the server closes the connection. */
function exchange(port: number, request: string): Promise<string> {
  return new Promise((resolve, reject) => {
    const socket = connect(port, "127.0.0.1", () => socket.write(request));
    const pieces: Buffer[] = [];
    socket.on("data", (piece: Buffer) => pieces.push(piece));
    socket.on("end", () => resolve(Buffer.concat(pieces).toString()));
    socket.on("error", reject);
  });
}

export interface BrokerBoardState extends BoardState {
  readonly told: readonly string[]; // what it printed of its connection
}

/** A feeder's program whose bytes go over real sockets to a broker that listens. */
export interface BrokerBoard {
  run(spanMs: number): Promise<void>;
  sense(event: string): void;
  state(): BrokerBoardState;
  flash(): Map<string, Uint8Array>;
}

export async function startBrokerBoard(
  server: TestServer,
  port: number,
  arguments_: readonly string[],
  flash?: ReadonlyMap<string, Uint8Array>,
): Promise<BrokerBoard> {
  const python = await openInterpreter(flash);
  python.runPython(`from fake_broker import BrokerRig\nrig = BrokerRig(*${JSON.stringify(arguments_)})`);
  python.runPython("run, carry, state = rig.run, rig.carry, rig.state");
  const [run, carry, state] = ["run", "carry", "state"].map((name) => python.globals.get(name)) as [
    (ms: number, step: number) => string,
    (text: string, hasEnded: boolean) => void,
    () => string,
  ];
  opened.push(run, carry, state);
  let line = { opened: 0, socket: null as Socket | null };
  onTestFinished(() => void line.socket?.destroy());
  const connectAgain = (count: number) => {
    line.socket?.destroy();
    const socket = connect(port, "127.0.0.1");
    const isNewest = () => line.socket === socket;
    socket.on("data", (piece) => isNewest() && carry(piece.toString("hex"), false));
    socket.on("close", () => isNewest() && carry("", true));
    socket.on("error", () => socket.destroy());
    line = { opened: count, socket };
  };
  const stepMs = 100;
  return {
    async run(spanMs) {
      for (let ran = 0; ran < spanMs; ran += stepMs) {
        const [count, sent] = JSON.parse(run(stepMs, stepMs)) as [number, string];
        if (count !== line.opened) connectAgain(count);
        if (sent !== "") line.socket?.write(Buffer.from(sent, "hex"));
        server.clock.advance(milliseconds(stepMs));
        await sleep(sent === "" ? 2 : 10); // the broker and the server work in real time
      }
    },
    sense: (event) => python.runPython(`rig.sense(${event})`),
    state: () => JSON.parse(state()),
    flash: () => new Map(filesOf(python).map((name) => [name, python.FS.readFile(`/events/${name}`)])),
  };
}
