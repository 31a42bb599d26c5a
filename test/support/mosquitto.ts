import { type ChildProcess, execFileSync, spawn } from "node:child_process";
import { once } from "node:events";
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import type { AddressInfo } from "node:net";
import { connect, createServer } from "node:net";
import { tmpdir, userInfo } from "node:os";
import { join } from "node:path";
import { onTestFinished, vi } from "vitest";
import { projectFolder } from "./imports.ts";
import { testOnlyCertificate, testOnlyKey } from "./testOnlyCertificate.ts";

/** Debian's broker as a process of its own on the loopback address, with the configuration of `deploy/broker`. */
export interface Broker {
  readonly port: number;
  addUser(name: string, password: string): void;
  /** What it can't finish it loses, as with a power cut. */
  kill(): Promise<void>;
  start(): Promise<void>;
}

const program = "/usr/sbin/mosquitto";
/** The password of the server's own user. */
export const serverPassword = "the server's own";

/** @param options lines of mosquitto.conf in place of those of `deploy/broker` with the same first word */
export async function startBroker(options: { readonly tls?: boolean; readonly port?: number } = {}): Promise<Broker> {
  const folder = mkdtempSync(join(tmpdir(), "pieward-broker-"));
  onTestFinished(() => rmSync(folder, { recursive: true, force: true }));
  const port = options.port ?? (await freePort());
  const file = (name: string, text: string) => {
    writeFileSync(join(folder, name), text, { mode: 0o600 });
    return join(folder, name);
  };
  const [passwords, configuration] = [file("passwords", ""), join(folder, "broker.conf")];
  const addUser = (name: string, password: string) =>
    void execFileSync("mosquitto_passwd", ["-b", passwords, name, password], { stdio: "ignore" });
  addUser("pieward", serverPassword);
  const replaced: Readonly<Record<string, string | null>> = {
    listener: `listener ${port} 127.0.0.1`,
    certfile: options.tls ? `certfile ${file("broker.pem", testOnlyCertificate)}` : null,
    keyfile: options.tls ? `keyfile ${file("broker.key", testOnlyKey)}` : null,
    password_file: `password_file ${passwords}`,
    acl_file: `acl_file ${file("broker.acl", readFileSync(join(projectFolder, "deploy/broker/pieward.acl"), "utf8"))}`,
  };
  const shipped = readFileSync(join(projectFolder, "deploy/broker/pieward.conf"), "utf8").split("\n");
  const lines = shipped.map((line) => {
    const own = replaced[line.split(" ")[0] ?? ""];
    return own === undefined ? line : own;
  });
  const more = [`user ${userInfo().username}`, "persistence true", `persistence_location ${folder}/`];
  writeFileSync(configuration, [...lines.filter((line) => line !== null), ...more, ""].join("\n"));

  let child: ChildProcess | null = null;
  const end = async (signal: NodeJS.Signals) => {
    if (child === null) return;
    const ended = once(child, "close");
    child.kill(signal);
    child = null;
    await ended;
  };
  const broker: Broker = {
    port,
    addUser(name, password) {
      addUser(name, password);
      child?.kill("SIGHUP"); // it reads the file again
    },
    kill: () => end("SIGKILL"),
    async start() {
      const started = spawn(program, ["-c", configuration], { stdio: ["ignore", "ignore", "pipe"] });
      let problem = "";
      started.stderr.setEncoding("utf8").on("data", (text: string) => {
        problem += text;
      });
      child = started;
      await vi
        .waitFor(() => canConnect(port), { timeout: 10_000, interval: 20 })
        .catch((error: unknown) => {
          throw new Error(`expected a broker at port ${port}, but: ${problem}`, { cause: error });
        });
    },
  };
  onTestFinished(() => end("SIGKILL"));
  await broker.start();
  return broker;
}

async function canConnect(port: number): Promise<void> {
  const socket = connect(port, "127.0.0.1");
  await once(socket, "connect");
  socket.destroy();
}

export async function freePort(): Promise<number> {
  const server = createServer().listen(0, "127.0.0.1");
  await once(server, "listening");
  const { port } = server.address() as AddressInfo;
  server.close();
  await once(server, "close");
  return port;
}
