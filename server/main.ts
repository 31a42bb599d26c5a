import { existsSync } from "node:fs";
import { networkInterfaces } from "node:os";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";
import type { FastifyBaseLogger } from "fastify";
import cron, { type ScheduledTask } from "node-cron";
import { endpointGuard } from "./adapters/endpointGuard.ts";
import { feederSockets } from "./adapters/feederSockets.ts";
import { liveBrowsers } from "./adapters/liveBrowsers.ts";
import { mail, noMail } from "./adapters/mail.ts";
import { outboxBell } from "./adapters/outboxBell.ts";
import { practiceGround } from "./adapters/practiceGround.ts";
import { KeysProblem, keepSecrets } from "./adapters/secrets.ts";
import { MigrationProblem, migrate } from "./adapters/store/migrate.ts";
import { openStore } from "./adapters/store/prismaStore.ts";
import { systemClock } from "./adapters/systemClock.ts";
import { webPush } from "./adapters/webPush.ts";
import { buildApp } from "./app.ts";
import { type Config, ConfigProblem, readConfig } from "./config.ts";
import { seconds } from "./domain/instant.ts";
import { advanceDueCalls, callStanding } from "./flows/calls.ts";
import { deliverDue } from "./flows/delivery.ts";
import { sendDueDigests } from "./flows/digest.ts";
import { feederKeys } from "./flows/feederKeys.ts";
import { deliveryLanes } from "./flows/lanes.ts";
import { checkLiveSockets } from "./flows/liveSockets.ts";
import { mendDamaged } from "./flows/mending.ts";
import { forgetOld } from "./flows/outbox.ts";
import { patrol } from "./flows/patrol.ts";
import { resumePractice } from "./flows/practice.ts";
import { openClaim } from "./flows/signIn.ts";
import { zoneWarnings } from "./flows/zones.ts";
import { type Ports, StoreBusy } from "./ports.ts";

/** A mail server may look into a letter before it answers; a push service carries it unread. Common practice, no source. */
const exchangeMax = { push: seconds(10), mail: seconds(30) };

/** Opens everything, listens, and closes everything in the order in which nothing is lost. */
async function main(): Promise<void> {
  // The tick counts UTC minutes; local times are the domain's business.
  process.env.TZ = "UTC";
  const config = readConfig(process.env);
  const secrets = keepSecrets(config.dataDir);
  bringUpToDate(config);
  const store = await openStore(config.databaseUrl);

  const sockets = feederSockets();
  const browsers = liveBrowsers();
  const bell = outboxBell(Date.now);
  const guard = endpointGuard({ allowPrivateEndpoints: config.allowPrivatePushEndpoints });
  const push = webPush({
    vapid: { subject: config.vapidSubject, ...secrets.vapid },
    publicUrl: config.publicUrl,
    guard,
    timeoutMs: exchangeMax.push,
  });
  let ownUrl = "";
  const practice = practiceGround(systemClock, () => ownUrl, {
    said: (words) => app.log.debug({ practice: true }, words),
    trouble: (words) => app.log.warn({ practice: true }, words),
  });
  const letters =
    config.mail === null ? noMail : mail(config.mail, { connectTimeoutMs: 10_000, timeoutMs: exchangeMax.mail });
  const around = { feeders: sockets, live: browsers, bell, practice };
  const ports: Ports = { clock: systemClock, store, push, mail: letters, ...around };
  const keys = feederKeys(store.yards);
  const app = await buildApp({
    ports,
    keys,
    config,
    sessionKey: secrets.sessionKey,
    sockets,
    browsers,
    requestTimeoutMilliseconds: 20_000,
    clientFolder: join(projectFolder(), "dist", "client"),
  });

  const lanes = deliveryLanes();
  const pace = { exchangeMax, queueMax: seconds(5), most: 50, jitter: Math.random };
  const limits = { ...pace, lanes, publicUrl: config.publicUrl };
  const stopDelivering = bell.answer(
    () => deliverDue(ports, { ...limits, log: app.log }),
    (error) => app.log.error({ err: error }, "delivering notices failed; it is tried again in a minute"),
  );
  const ticks = startTicking(ports, app.log);

  closeOnSignals(app.log, async () => {
    for (const tick of ticks) await tick.stop();
    await practice.stop();
    lanes.close();
    sockets.closeAll();
    browsers.closeAll();
    await app.close();
    await stopDelivering();
    await store.close();
  });

  const address = await app.listen({ port: config.port, host: config.host });
  ownUrl = loopbackUrl(address);
  await mendDamaged(ports, app.log);
  await resumePractice(ports, keys);
  for (const words of await zoneWarnings(store.yards)) app.log.warn(words);
  await callStanding(ports);
  greet(config, address, await openClaim(ports));
  bell.ring(); // what a crash left in the outbox
}

/**
 * Silence is judged to the third of a minute, digests by the full minute. Each task stands for itself: one that fails is told
 * and doesn't hold up the other.
 */
function startTicking(ports: Ports, log: FastifyBaseLogger): ScheduledTask[] {
  const every = (times: string, name: string, work: () => Promise<unknown>) =>
    cron.schedule(
      times,
      async () => {
        try {
          await work();
        } catch (error) {
          log.error({ err: error }, `the ${name} failed; it is tried again with the next tick`);
        }
        ports.bell.ring(); // retries that have come due
      },
      { timezone: "UTC", noOverlap: true },
    );
  return [
    every("*/20 * * * * *", "mending of damaged feeders", () => mendDamaged(ports, log)),
    every("*/20 * * * * *", "patrol", () => patrol(ports)),
    every("*/20 * * * * *", "telling of alarms", () => advanceDueCalls(ports)),
    every("*/30 * * * * *", "check of live sockets", () => checkLiveSockets(ports)),
    every("* * * * *", "digest", () => sendDueDigests(ports)),
    every("17 * * * *", "clearing up", () => forgetOld(ports)), // each hour: a server may be off for most of a day
  ];
}

/** Service managers and keepers end us with a signal; the second one while closing changes nothing. */
function closeOnSignals(log: FastifyBaseLogger, close: () => Promise<void>): void {
  let closing = false;
  for (const signal of ["SIGINT", "SIGTERM"] as const) {
    process.on(signal, () => {
      if (closing) return;
      closing = true;
      log.info(`${signal}: closing`);
      close().then(
        () => process.exit(0),
        (error: unknown) => {
          log.fatal({ err: error }, "closing failed");
          process.exit(1);
        },
      );
    });
  }
}

function bringUpToDate(config: Config): void {
  const file = config.databaseUrl.replace(/^file:/, "");
  if (!existsSync(dirname(file))) {
    throw new ConfigProblem(`The configuration needs attention:\n  DATABASE_URL: there is no folder ${dirname(file)}`);
  }
  const stamp = new Date().toISOString().replace(/[:.]/g, "-");
  const { applied, backup } = migrate(file, join(projectFolder(), "prisma", "sqlite", "migrations"), stamp);
  if (applied.length > 0 && backup) say(`The database was brought up to date. A copy from before is at ${backup}`);
}

/** The folder with package.json: above this file when it runs as written, two above when it is built into dist/. */
function projectFolder(): string {
  let folder = dirname(fileURLToPath(import.meta.url));
  while (!existsSync(join(folder, "package.json"))) {
    const above = dirname(folder);
    if (above === folder) throw new Error("expected a package.json above the server's own files");
    folder = above;
  }
  return folder;
}

/** Our own door from inside: a server that listens everywhere also listens on the loopback address. */
function loopbackUrl(address: string): string {
  const { port, hostname } = new URL(address);
  const everywhere = hostname === "0.0.0.0" || hostname === "[::]";
  return `http://${everywhere ? "127.0.0.1" : hostname}:${port}`;
}

function greet(config: Config, address: string, claimToken: string | null): void {
  const { port } = new URL(address);
  const home =
    config.publicUrl ?? `http://${config.host === "0.0.0.0" ? (homeAddress() ?? "127.0.0.1") : config.host}:${port}`;
  say(`Pieward listens at ${home}`);
  if (claimToken !== null) {
    say(`\nNobody keeps this house yet. Open this link once to become its keeper:\n\n  ${home}/claim#${claimToken}\n`);
  }
}

/** This machine's address in the home network, for the keeper to type on a phone. */
function homeAddress(): string | null {
  const all = Object.values(networkInterfaces()).flatMap((addresses) => addresses ?? []);
  return all.find(({ family, internal }) => family === "IPv4" && !internal)?.address ?? null;
}

const say = (words: string) => process.stdout.write(`${words}\n`);

main().catch((error: unknown) => {
  process.stderr.write(`${startProblem(error)}\n`);
  process.exit(1);
});

const lockedDatabase = "The database is locked by another program. Is Pieward running already?";

/** What a keeper can act on comes in a sentence; what only a developer can comes with its stack. */
function startProblem(error: unknown): string {
  if (error instanceof ConfigProblem || error instanceof KeysProblem || error instanceof MigrationProblem) {
    return error.message;
  }
  if (error instanceof StoreBusy) return lockedDatabase;
  const { code, path, port, message, stack } = error as NodeJS.ErrnoException & { port?: number };
  switch (code) {
    case "EADDRINUSE":
      return `The port ${port} is in use by another program. Choose another with PORT=…, or stop that program.`;
    case "EACCES":
    case "EPERM":
    case "EROFS":
      return `Pieward may not write ${path ?? "there"}: ${message}. Give it the right to, or choose another DATA_DIR.`;
    case "EEXIST":
    case "ENOTDIR":
      return `${path ?? "The data folder"} is not a folder, so nothing can be kept there. Choose another DATA_DIR.`;
    case "SQLITE_CANTOPEN":
    case "SQLITE_READONLY":
      return `The database can't be opened for writing: ${message}. Check DATA_DIR or DATABASE_URL and its rights.`;
    case "SQLITE_BUSY":
      return lockedDatabase;
    case "SQLITE_NOTADB":
    case "SQLITE_CORRUPT":
      return `The database file is damaged: ${message}. Restore a backup.`;
    default:
      return stack ?? String(error);
  }
}
