import { join } from "node:path";
import { parseArgs } from "node:util";
import type { FastifyBaseLogger } from "fastify";
import cron, { type ScheduledTask } from "node-cron";
import { damageFile } from "./adapters/damageFile.ts";
import { StartProblem } from "./adapters/dataFolder.ts";
import { endpointGuard } from "./adapters/endpointGuard.ts";
import { feederSockets } from "./adapters/feederSockets.ts";
import { guessEstimator } from "./adapters/guessEstimator.ts";
import { liveBrowsers } from "./adapters/liveBrowsers.ts";
import { mail, noMail } from "./adapters/mail.ts";
import { outboxBell } from "./adapters/outboxBell.ts";
import { practiceGround } from "./adapters/practiceGround.ts";
import { KeysProblem, type Secrets } from "./adapters/secrets.ts";
import { MigrationProblem } from "./adapters/store/migrate.ts";
import { systemClock } from "./adapters/systemClock.ts";
import { homeUrl, projectFolder } from "./adapters/thisMachine.ts";
import { webPush } from "./adapters/webPush.ts";
import { buildApp } from "./app.ts";
import { type Config, ConfigProblem, readConfig } from "./config.ts";
import { type Meant, openDataFiles } from "./dataFiles.ts";
import { minutes, type Span, seconds } from "./domain/instant.ts";
import { advanceDueCalls, callStanding } from "./flows/calls.ts";
import { checkStore, type DamageLog, type DamageNotifier, type DamagePorts, damageNotifier } from "./flows/damage.ts";
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
import { type Ports, StoreBusy, type StoreCheck, StoreFull, StoreReadOnly } from "./ports.ts";

/** A mail server may look into a letter before it answers; a push service carries it unread. Common practice, no source. */
const exchangeMax = { push: seconds(10), mail: seconds(30) };

/** Opens everything, listens, and closes everything in the order in which nothing is lost. */
async function main(): Promise<void> {
  // The tick counts UTC minutes; local times are the domain's business.
  process.env.TZ = "UTC";
  const config = readConfig(process.env);
  const file = damageFile(config.dataDir);
  let notifyOfDamage: () => void = () => undefined; // before the server listens it is told below
  const { store, secrets, check, isChecked } = await openDataFiles({
    config,
    meant: readArguments(process.argv.slice(2)),
    projectFolder: projectFolder(),
    say,
    warn,
    damaged: () => notifyOfDamage(),
    async notifyBeforeEnd(condition, kept) {
      const none = async () => ({ phones: [], addresses: [] });
      const around = {
        clock: systemClock,
        store: { condition, damageRecipients: none },
        file,
        ...gatewaysOf(config, kept),
      };
      await damageNotifier(around, config.publicUrl, toStderr).notify();
    },
  });
  const isDamaged = () => store.condition.damage()?.kind === "damaged";

  const sockets = feederSockets();
  const browsers = liveBrowsers();
  const bell = outboxBell(Date.now);
  let ownUrl = "";
  const practice = practiceGround(systemClock, () => ownUrl, {
    said: (words) => app.log.debug({ practice: true }, words),
    trouble: (words) => app.log.warn({ practice: true }, words),
  });
  const around = { feeders: sockets, live: browsers, bell, practice, guesses: guessEstimator() };
  const ports: Ports = { clock: systemClock, store, ...gatewaysOf(config, secrets), ...around };
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
    // The outbox can't be written to either; whoever must know of that is notified without it.
    async () => (isDamaged() ? { nextDueAt: null } : deliverDue(ports, { ...limits, log: app.log })),
    (error) => app.log.error({ err: error }, "delivering notices failed; it is tried again in a minute"),
  );
  const notifier = damageNotifier({ ...ports, file }, config.publicUrl, app.log);
  const ticks = startTicking(ports, app.log, { notifier, check, isDamaged });

  closeOnSignals(app.log, async () => {
    for (const tick of ticks) await tick.stop();
    await practice.stop();
    lanes.close();
    sockets.closeAll();
    browsers.closeAll();
    await app.close();
    await stopDelivering();
    await notifier.learnRecipients().catch((err: unknown) => app.log.error({ err }, "learning whom to notify failed"));
    await store.close();
  });

  const address = await app.listen({ port: config.port, host: config.host });
  ownUrl = loopbackUrl(address);
  notifyOfDamage = () => void inBackground(app.log, "notifying of the damaged database", () => notifier.notify());
  await inBackground(app.log, "learning whom to notify of a damaged database", () => notifier.learnRecipients());
  notifyOfDamage();
  if (!isDamaged()) {
    await mendDamaged(ports, app.log);
    await resumePractice(ports, keys);
    for (const words of await zoneWarnings(store.yards)) app.log.warn(words);
    await callStanding(ports);
  }
  greet(config, address, isDamaged() ? null : await openClaim(ports));
  bell.ring(); // what a crash left in the outbox
  if (!isChecked) void inBackground(app.log, checkName, () => checkWhole(ports, check, app.log));
}

/** What failed is logged by name; nobody waits for it. */
async function inBackground(log: DamageLog, name: string, work: () => Promise<unknown>): Promise<void> {
  try {
    await work();
  } catch (err) {
    log.error({ err }, `${name} failed`);
  }
}

const checkName = "the check of the database";
/** Longer than that a home server's card takes for no file that this server writes. */
const checkMax = minutes(30);

async function checkWhole(ports: DamagePortsOfCheck, check: StoreCheck, log: DamageLog): Promise<void> {
  const came = await checkStore(ports, check, checkMax as Span);
  if (came === "notFinished")
    log.warn({}, `${checkName} wasn't finished after half an hour; it is tried again tomorrow`);
}
type DamagePortsOfCheck = Pick<DamagePorts, "clock" | "store">;

/** Push and mail as they are configured; nothing of them needs the database. */
function gatewaysOf(config: Config, { vapid }: Secrets): Pick<Ports, "push" | "mail"> {
  const push = webPush({
    vapid: { subject: config.vapidSubject, ...vapid },
    publicUrl: config.publicUrl,
    guard: endpointGuard({ allowPrivateEndpoints: config.allowPrivatePushEndpoints }),
    timeoutMs: exchangeMax.push,
  });
  const letters =
    config.mail === null ? noMail : mail(config.mail, { connectTimeoutMs: 10_000, timeoutMs: exchangeMax.mail });
  return { push, mail: letters };
}

/**
 * Silence is judged to the third of a minute, digests by the full minute. Each task stands for itself: one that fails is told
 * and doesn't hold up the other.
 */
function startTicking(
  ports: Ports,
  log: FastifyBaseLogger,
  { notifier, check, isDamaged }: DamageWatch,
): ScheduledTask[] {
  const every = (times: string, name: string, work: () => Promise<unknown>, evenIfDamaged = false) =>
    cron.schedule(
      times,
      async () => {
        if (isDamaged() && !evenIfDamaged) return; // it couldn't store what it does, and that is told already
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
    every("41 2 * * *", checkName, () => checkWhole(ports, check, log)),
    every("* * * * *", "learning whom to notify of a damaged database", () => notifier.learnRecipients()),
    every("* * * * *", "notifying of the damaged database", () => notifier.notify(), true),
  ];
}

interface DamageWatch {
  readonly notifier: DamageNotifier;
  readonly check: StoreCheck;
  readonly isDamaged: () => boolean;
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

/** Our own door from inside: a server that listens everywhere also listens on the loopback address. */
function loopbackUrl(address: string): string {
  const { port, hostname } = new URL(address);
  const everywhere = hostname === "0.0.0.0" || hostname === "[::]";
  return `http://${everywhere ? "127.0.0.1" : hostname}:${port}`;
}

function greet(config: Config, address: string, claimToken: string | null): void {
  const home = homeUrl(config, new URL(address).port);
  say(`Pieward listens at ${home}`);
  if (claimToken !== null) {
    say(`\nNobody keeps this house yet. Open this link once to become its keeper:\n\n  ${home}/claim#${claimToken}\n`);
  }
}

const say = (words: string) => process.stdout.write(`${words}\n`);
const warn = (words: string) => process.stderr.write(`${words}\n`);
/** Before there is a logger. */
const toStderr: DamageLog = {
  error: (_details, words) => warn(words),
  warn: (_details, words) => warn(words),
};

/** @throws ConfigProblem for what isn't known, so that a slip isn't taken for a wish. */
function readArguments(args: string[]): Meant {
  try {
    const flag = { type: "boolean", default: false } as const;
    const { values } = parseArgs({ args, options: { "new-keys": flag, "new-database": flag } });
    return { newKeys: values["new-keys"], newDatabase: values["new-database"] };
  } catch (error) {
    throw new ConfigProblem(`${(error as Error).message}. Known are --new-keys and --new-database.`);
  }
}

main().catch((error: unknown) => {
  process.stderr.write(`${startProblem(error)}\n`);
  process.exit(1);
});

const lockedDatabase = "The database is locked by another program. Is Pieward running already?";

/** What a keeper can act on comes in a sentence; what only a developer can comes with its stack. */
function startProblem(error: unknown): string {
  if ([ConfigProblem, KeysProblem, MigrationProblem, StartProblem].some((kind) => error instanceof kind)) {
    return (error as Error).message;
  }
  if (error instanceof StoreBusy) return lockedDatabase;
  if (error instanceof StoreFull) return fullDisk;
  if (error instanceof StoreReadOnly) return readOnlyDatabase(error.message);
  const { code, path, port, message, stack } = error as NodeJS.ErrnoException & { port?: number };
  switch (code?.replace(/^(SQLITE_[A-Z]+)_.*/, "$1")) {
    case "EADDRINUSE":
      return `The port ${port} is in use by another program. Choose another with PORT=…, or stop that program.`;
    case "EACCES":
    case "EPERM":
    case "EROFS":
      return `Pieward may not write ${path ?? "there"}: ${message}. Give it the right to, or choose another DATA_DIR.`;
    case "EEXIST":
    case "ENOTDIR":
      return `${path ?? "The data folder"} is not a folder, so nothing can be kept there. Choose another DATA_DIR.`;
    case "ENOSPC":
    case "EFBIG":
    case "EDQUOT":
    case "SQLITE_FULL":
    case "SQLITE_IOERR":
      return `${fullDisk} (${message})`;
    case "SQLITE_CANTOPEN":
    case "SQLITE_READONLY":
      return readOnlyDatabase(message);
    case "SQLITE_BUSY":
      return lockedDatabase;
    default:
      return stack ?? String(error);
  }
}

const fullDisk =
  "The database can't be written: its disk is full or failing. Make room on it, or choose another DATA_DIR.";
const readOnlyDatabase = (message: string) =>
  `The database can't be opened for writing: ${message}. Check DATA_DIR or DATABASE_URL and its rights.`;
