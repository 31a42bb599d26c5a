import { type ChildProcess, spawn, spawnSync } from "node:child_process";
import {
  chmodSync,
  cpSync,
  existsSync,
  mkdirSync,
  mkdtempSync,
  readFileSync,
  rmSync,
  statSync,
  writeFileSync,
} from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { setTimeout as sleep } from "node:timers/promises";
import { describe, expect, it, onTestFinished, vi } from "vitest";
import { getJson } from "../faults/kills/httpSession.ts";
import { addRowan, type BuiltKeeper, signInFirst } from "../support/builtKeeper.ts";
import { runBuiltServer } from "../support/builtServer.ts";
import { feederFolder } from "../support/feederProgram.ts";
import { freePort } from "../support/mosquitto.ts";

/**
 * The commands of the feeder's README, as a hobbyist gives them: in a fresh copy of its folder, in an environment with a home and the
 * distribution's paths alone. Pins are made up; the server is the built one.
 */

const readme = readFileSync(join(feederFolder, "README.md"), "utf8");
const blocks = [...readme.matchAll(/```sh\n([\s\S]*?)```/g)].map(([, text = ""]) => text.replace(/\\\n\s*/g, ""));
const lines = blocks.flatMap((text) => text.split("\n").filter((line) => line !== ""));
const isMarked = (line: string) => /\s# unattended\b/.test(line);
const commands = lines.filter((line) => !isMarked(line)).map((line) => line.replace(/\s+#.*$/, ""));

const python = "/usr/bin/python3";
const canRun = (program: string) => spawnSync(python, ["-c", program]).status === 0;
const hasPython = canRun("import sys; sys.exit(sys.version_info < (3, 9))");
const hasPackages = canRun("import gpiozero, smbus2, serial");

interface Hobbyist {
  readonly folder: string;
  readonly statusPort: number;
  /** Starts one command as it stands in the README, but for its example addresses. */
  start(command: string): Started;
  readonly keeper: BuiltKeeper;
  readonly feeder: string;
}

interface Started {
  until(pattern: RegExp, withinMs?: number): Promise<string>;
  output(): string;
  end(signal: NodeJS.Signals): Promise<number | null>;
  readonly exited: Promise<number | null>;
}

/** An editor that writes what a person would type. */
const editor = (what: string) => `#!/bin/sh\n[ -s "$1" ] || printf '%s\\n' '${what}' > "$1"\n`;

async function hobbyist(): Promise<Hobbyist> {
  const home = mkdtempSync(join(tmpdir(), "pieward-hobbyist-"));
  onTestFinished(() => rmSync(home, { recursive: true, force: true }));
  const server = runBuiltServer(join(home, "server"));
  const [, url = ""] = await server.waitForOutput(/Pieward listens at (http\S+)\n/);
  const keeper = await signInFirst(server);
  const { feeder, key } = await addRowan(keeper);
  const folder = join(home, "feeder");
  cpSync(feederFolder, folder, { recursive: true, filter: (path) => !/__pycache__|test_/.test(path) });
  mkdirSync(join(home, "bin"));
  writeFileSync(join(home, "bin", "nano"), editor(key));
  chmodSync(join(home, "bin", "nano"), 0o755);
  const statusPort = await freePort();
  const start = (command: string): Started => {
    const given = command
      .replace(/https:\/\/pieward\.example|http:\/\/192\.168\.1\.20:8080/, url)
      .replace("rowan-4f2a9c", feeder)
      .replace("8090", String(statusPort));
    const env = {
      ...{ PATH: `${join(home, "bin")}:/usr/sbin:/usr/bin:/sbin:/bin`, HOME: home, LANG: "C.UTF-8" },
      ...{ GPIOZERO_PIN_FACTORY: "mock", PYTHONUNBUFFERED: "1", PYTHONDONTWRITEBYTECODE: "1" },
    };
    return started(spawn("sh", ["-c", `exec ${given}`.replace(/^exec (.* && )/, "$1exec ")], { cwd: folder, env }));
  };
  return { folder, statusPort, start, keeper, feeder };
}

function started(child: ChildProcess): Started {
  let output = "";
  for (const stream of [child.stdout, child.stderr])
    stream?.setEncoding("utf8").on("data", (text: string) => {
      output += text;
    });
  const exited = new Promise<number | null>((resolve) => child.once("close", resolve));
  onTestFinished(async () => {
    child.kill("SIGKILL");
    await exited;
  });
  return {
    async until(pattern, withinMs = 30_000) {
      for (const end = Date.now() + withinMs; !pattern.test(output); await sleep(50))
        if (Date.now() > end) throw new Error(`waited for ${pattern}; its output:\n${output}`);
      return output;
    },
    output: () => output,
    end(signal) {
      child.kill(signal);
      return exited;
    },
    exited,
  };
}

const pauseStatus = async ({ keeper, feeder }: Hobbyist) =>
  (await getJson(keeper.session, `/api/v1/feeders/${feeder}`)).json().pause.order?.status;

async function untilPaused(person: Hobbyist, id: string) {
  const { keeper, feeder } = person;
  await keeper.session.ask("POST", `/api/v1/feeders/${feeder}/orders`, { id, kind: "pause" });
  for (const end = Date.now() + 40_000; (await pauseStatus(person)) !== "confirmed"; await sleep(100))
    if (Date.now() > end) throw new Error("waited for the answer to the pause");
}

/** How each command is run; those of a broker need one, and are those of another test. */
const attended: Readonly<Record<string, (person: Hobbyist, command: string) => Promise<void>>> = {
  "install -m 600 /dev/null feeder.key && nano feeder.key": async ({ start, folder }, command) => {
    expect(await start(command).exited).toBe(0);
    expect(readFileSync(join(folder, "feeder.key"), "utf8")).toMatch(/^pw_/);
    expect(statSync(join(folder, "feeder.key")).mode & 0o777).toBe(0o600);
  },
  "python3 agent.py --url https://pieward.example --key-file feeder.key --data ./data": async (person, command) => {
    const program = person.start(command);
    await program.until(/Feeder is up, boot \S+, dry run: no motor turns/);
    await untilPaused(person, "pause-0001");
    expect(await program.end("SIGINT")).toBe(0); // Ctrl-C
    expect(program.output()).toContain("Feeder is off.");
  },
  "python3 agent.py --url http://192.168.1.20:8080 --sign rowan-4f2a9c --key-file feeder.key --data ./data": async (
    person,
    command,
  ) => {
    const program = person.start(command);
    await untilPaused(person, "pause-0002");
    await program.end("SIGINT");
  },
  "python3 agent.py --url https://pieward.example --key-file feeder.key --data ./data --status 8090": async (
    { start, statusPort },
    command,
  ) => {
    const program = start(command);
    await program.until(/Feeder is up/);
    const page = async () => (await fetch(`http://127.0.0.1:${statusPort}/`)).text();
    await vi.waitFor(async () => expect(await page()).toContain("Feeding plan"), { timeout: 10_000, interval: 100 });
    await program.end("SIGINT");
  },
  "python3 agent.py --check --wired": async ({ start }, command) => {
    const program = start(command);
    expect(await program.exited).toBe(2);
    expect(program.output()).toBe(
      "ERROR hardware.py: YourFeeder is not filled in yet; start without --wired for a dry run\n",
    );
  },
  "cp wiring/example.py wiring/mine.py && nano wiring/mine.py": async ({ start, folder }, command) => {
    expect(await start(command).exited).toBe(0);
    expect(existsSync(join(folder, "wiring/mine.py"))).toBe(true);
  },
  "/usr/bin/python3 agent.py --check --wired wiring.mine:ExampleFeeder": async ({ start, folder }, command) => {
    cpSync(join(folder, "wiring/example.py"), join(folder, "wiring/mine.py"));
    const program = start(command);
    await program.until(/Readings:[\s\S]*Press the button/, 40_000); // after ten quiet seconds
    expect(program.output()).toContain("there is no I2C bus 1: switch I2C on in the board's settings");
    await program.end("SIGINT");
    expect(program.output()).toContain("Stopped. The motor is off.");
  },
  "/usr/bin/python3 -m wiring.calibrate": async ({ start }, command) => {
    const program = start(`printf '\\n500\\n' | ${command}`);
    expect(await program.exited).toBe(1);
    expect(program.output()).toContain("Empty the hopper");
    expect(program.output()).toContain("the load cell: nothing measured");
  },
};
const elsewhere = "test/deploy/agentBroker.test.ts";
const ofBroker = (command: string) => /broker/.test(command);
const needsPackages = (command: string) => /wiring\.(mine|calibrate)/.test(command);

describe.skipIf(!hasPython)("each command of the feeder's README", () => {
  it("does what it says there, one after the other", { timeout: 240_000 }, async () => {
    const person = await hobbyist();
    const run = async (command: string) => {
      const attend = attended[command];
      if (attend === undefined)
        throw new Error(`no test runs ${command}: add it here, or mark it "# unattended" in the README`);
      const began = performance.now();
      await attend(person, command);
      return `${((performance.now() - began) / 1_000).toFixed(1)} s  ${command}\n`;
    };
    const own = commands.filter((command) => !ofBroker(command));
    const times = [];
    for (const command of own.filter((one) => !needsPackages(one))) times.push(await run(command));
    // Each waits for seconds in which nothing comes.
    if (hasPackages) times.push(...(await Promise.all(own.filter(needsPackages).map(run))));
    if (process.env.SHOW_TIMES) process.stdout.write(times.join(""));
  });

  it("of a broker has the options with which another test runs the program", () => {
    const options = commands.filter(ofBroker).flatMap((command) => command.match(/--[\w-]+/g) ?? []);
    expect(options).toContain("--broker-ca");
    const test = readFileSync(elsewhere, "utf8") + readFileSync("test/support/feederProgram.ts", "utf8");
    for (const option of options) expect(test).toContain(`"${option}"`);
  });

  it("that is run is still in it, and what is marked changes a system that is not the tests' own", () => {
    expect(Object.keys(attended).filter((command) => !commands.includes(command))).toEqual([]);
    for (const line of lines.filter(isMarked)) expect(line).toMatch(/^(?:sudo|scp|cd feeder) /);
  });

  it("that lets the motor turn has its caution before it", () => {
    for (const [act, caution] of [
      ["python3 agent.py --check --wired\n", "keep hands and tools out of tray and hopper"],
      ["sudo systemctl enable --now pieward-feeder", "the motor may turn at any time"],
      ["cp wiring/example.py wiring/mine.py", "Power off while you connect, 3.3 V at most at each pin, the fuse first"],
    ] as const) {
      const [acts, cautions] = [readme.indexOf(act), readme.indexOf(caution)];
      expect(Math.min(acts, cautions), act).toBeGreaterThan(0);
      expect(acts - cautions, act).toBeGreaterThan(0);
      expect(acts - cautions, act).toBeLessThan(900); // characters: on the same screen
    }
  });
});
