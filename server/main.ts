import { X509Certificate } from "node:crypto";
import { readFileSync } from "node:fs";
import { join } from "node:path";
import { parseArgs } from "node:util";
import type { FastifyBaseLogger } from "fastify";
import cron, { type ScheduledTask } from "node-cron";
import { createSettingsComparer } from "./adapters/comparisonThread.ts";
import { openDamageFile } from "./adapters/damageFile.ts";
import { StartProblem } from "./adapters/dataFolder.ts";
import { endpointGuard } from "./adapters/endpointGuard.ts";
import { createFeederSockets } from "./adapters/feederSockets.ts";
import { createGuessEstimator } from "./adapters/guessEstimator.ts";
import { createLiveBrowsers } from "./adapters/liveBrowsers.ts";
import type { MqttBroker } from "./adapters/mqttBroker.ts";
import { createOutboxWorker } from "./adapters/outboxWorker.ts";
import { createPictureEncoder } from "./adapters/pictureEncoder.ts";
import { createPictureFiles } from "./adapters/pictureFiles.ts";
import { createPracticeRunner } from "./adapters/practiceRunner.ts";
import { noRetainedMessages } from "./adapters/retainedMessages.ts";
import { KeysProblem, type Secrets } from "./adapters/secrets.ts";
import { noEmail, smtpGateway } from "./adapters/smtpGateway.ts";
import { MigrationProblem } from "./adapters/store/migrate.ts";
import { systemClock } from "./adapters/systemClock.ts";
import { homeUrl, projectFolder } from "./adapters/thisMachine.ts";
import { webPush } from "./adapters/webPush.ts";
import { createZipArchives } from "./adapters/zipArchives.ts";
import { buildApp } from "./app.ts";
import { type Config, ConfigProblem, readConfig } from "./config.ts";
import { openDataFiles, type StartArguments } from "./dataFiles.ts";
import { days, minutes, type Span, seconds } from "./domain/instant.ts";
import { checkStore, type DamageLog, type DamageNotifier, type DamagePorts, damageNotifier } from "./flows/damage.ts";
import { deliverDueNotifications } from "./flows/delivery.ts";
import { createDeliveryScheduler } from "./flows/deliveryScheduler.ts";
import { sendDueDigests } from "./flows/digest.ts";
import { advanceDueEscalations, startMissingEscalations } from "./flows/escalations.ts";
import { feederKeys, nonceSecretOf } from "./flows/feederKeys.ts";
import { checkLiveSockets } from "./flows/liveSockets.ts";
import { packLogs } from "./flows/logPacking.ts";
import { pruneOld } from "./flows/outbox.ts";
import { runPeriodicChecks } from "./flows/periodicCheck.ts";
import { sweepPictures } from "./flows/pictures.ts";
import { resumePractice } from "./flows/practice.ts";
import { createPracticeProgramme, type PracticeProgramme } from "./flows/practiceProgramme.ts";
import { repairDamaged } from "./flows/repair.ts";
import { openFirstSignIn } from "./flows/signIn.ts";
import { findEvents } from "./flows/stillEvents.ts";
import { removeOldStills } from "./flows/stills.ts";
import { zoneWarnings } from "./flows/zones.ts";
import { type Ports, StoreBusy, type StoreCheck, StoreFull, StoreReadOnly } from "./ports.ts";

/** A mail server may scan an e-mail before it answers; a push service only passes a message on. Common practice, no source. */
const deliveryTimeouts = { push: seconds(10), email: seconds(30) };

/** Opens everything, listens, and closes everything in the order in which nothing is lost. */
// eslint-disable-next-line max-lines-per-function -- everything is opened, started and closed here once, in an order that matters
async function main(): Promise<void> {
  // The timers count UTC minutes; the domain computes local times.
  process.env.TZ = "UTC";
  const config = readConfig(process.env);
  const file = openDamageFile(config.dataDir);
  let notifyOfDamage: () => void = () => undefined; // before the server listens nobody is notified
  const { store, secrets, check, isChecked } = await openDataFiles({
    config,
    startArguments: readArguments(process.argv.slice(2)),
    projectFolder: projectFolder(),
    print,
    warn,
    onDamage: () => notifyOfDamage(),
    async notifyBeforeEnd(condition, secrets) {
      const damageRecipients = async () => ({ phones: [], addresses: [] });
      const damagePorts = {
        clock: systemClock,
        store: { condition, damageRecipients },
        recipientsFile: file,
        ...createGateways(config, secrets),
      };
      await damageNotifier(damagePorts, config.publicUrl, stderrLog).notify();
    },
  });
  const isDamaged = () => store.condition.damage()?.kind === "damaged";

  const sockets = createFeederSockets();
  const broker = await openBroker(config);
  const browsers = createLiveBrowsers();
  const outboxWorker = createOutboxWorker(Date.now);
  let ownUrl = "";
  const practice = createPracticeRunner(systemClock, () => ownUrl, {
    info: (text) => app.log.debug({ practice: true }, text),
    warning: (text) => app.log.warn({ practice: true }, text),
  });
  const comparisonProgram = join(projectFolder(), "dist", "server", "comparisonThread.js");
  const settingsComparer = createSettingsComparer(comparisonProgram, config.databaseUrl.replace(/^file:/, ""));
  const ports: Ports = {
    clock: systemClock,
    store,
    ...createGateways(config, secrets),
    ...{ feederLink: sockets, liveFeed: browsers, outboxSignal: outboxWorker, practiceRunner: practice },
    guessEstimator: createGuessEstimator(),
    settingsComparer,
    pictureFiles: createPictureFiles(join(config.dataDir, "pictures")),
    pictureEncoder: createPictureEncoder(),
    archives: createZipArchives(join(config.dataDir, "imports")),
    retainedMessages: broker ?? noRetainedMessages,
  };
  const keys = feederKeys(store.yards, nonceSecretOf(secrets.sessionKey));
  const programme = createPracticeProgramme(ports, keys, 1);
  const app = await buildApp({
    ...{ ports, keys, programme },
    config,
    sessionKey: secrets.sessionKey,
    sockets,
    broker,
    browsers,
    requestTimeoutMilliseconds: 20_000,
    clientFolder: join(projectFolder(), "dist", "client"),
  });

  const scheduler = createDeliveryScheduler();
  const limits = {
    ...{ attemptMax: deliveryTimeouts, queueMax: seconds(5), most: 50, jitter: Math.random },
    ...{ scheduler, publicUrl: config.publicUrl },
  };
  const stopDelivering = outboxWorker.start(
    // A damaged outbox can't be written to either; the damage notifier works without it.
    async () => (isDamaged() ? { nextDueAt: null } : deliverDueNotifications(ports, { ...limits, log: app.log })),
    (error) => app.log.error({ err: error }, "delivering notifications failed; it is tried again in a minute"),
  );
  const notifier = damageNotifier({ ...ports, recipientsFile: file }, config.publicUrl, app.log);
  const ticks = startTimers(ports, app.log, {
    programme,
    notifier,
    check,
    isDamaged,
    keepRaw: days(config.keepRawDays),
  });

  closeOnSignals(app.log, async () => {
    for (const tick of ticks) await tick.stop();
    await practice.stop();
    scheduler.close();
    settingsComparer.close();
    sockets.closeAll();
    browsers.closeAll();
    await app.close();
    await stopDelivering();
    await notifier.updateRecipients().catch((err: unknown) => app.log.error({ err }, "reading whom to notify failed"));
    await store.close();
  });

  const address = await app.listen({ port: config.port, host: config.host });
  ownUrl = loopbackUrl(address);
  printStartText(config, address, isDamaged() ? null : await openFirstSignIn(ports));
  notifyOfDamage = () => void runInBackground(app.log, "notifying of the damaged database", () => notifier.notify());
  await runInBackground(app.log, "reading whom to notify of a damaged database", () => notifier.updateRecipients());
  notifyOfDamage();
  if (!isDamaged()) {
    await repairDamaged(ports, app.log);
    await resumePractice(ports, keys);
    await programme.resume();
    for (const text of await zoneWarnings(store.yards)) app.log.warn(text);
    await startMissingEscalations(ports);
  }
  outboxWorker.notify(); // what a crash left in the outbox
  if (!isChecked) void runInBackground(app.log, checkName, () => checkWholeDatabase(ports, check, app.log));
}

/** A failure is logged by name and doesn't reach the caller. */
async function runInBackground(log: DamageLog, name: string, work: () => Promise<unknown>): Promise<void> {
  try {
    await work();
  } catch (err) {
    log.error({ err }, `${name} failed`);
  }
}

const checkName = "the check of the database";
/** A home server's memory card takes less for any file that this server writes. Our choice. */
const checkMax = minutes(30);

async function checkWholeDatabase(ports: DamagePortsOfCheck, check: StoreCheck, log: DamageLog): Promise<void> {
  const result = await checkStore(ports, check, checkMax as Span);
  if (result === "notFinished")
    log.warn({}, `${checkName} wasn't finished after half an hour; it is tried again tomorrow`);
}
type DamagePortsOfCheck = Pick<DamagePorts, "clock" | "store">;

/** The library is loaded only where a broker is configured. @throws ConfigProblem where the certificate can't be read */
async function openBroker({ mqtt }: Config): Promise<MqttBroker | null> {
  if (mqtt === null) return null;
  const { createMqttBroker } = await import("./adapters/mqttBroker.ts");
  return createMqttBroker({ ...mqtt, ca: mqtt.caFile === null ? null : readCertificate(mqtt.caFile) }, systemClock);
}

function readCertificate(file: string): string {
  try {
    const text = readFileSync(file, "utf8");
    new X509Certificate(text); // throws where it is none
    return text;
  } catch (error) {
    throw new ConfigProblem(
      `The configuration needs attention:\n  MQTT_CA_FILE: is no certificate as PEM that can be read: ${(error as Error).message}`,
    );
  }
}

/** Push and e-mail as configured; they don't need the database. */
function createGateways(config: Config, { vapid }: Secrets): Pick<Ports, "push" | "email"> {
  const push = webPush({
    vapid: { subject: config.vapidSubject, ...vapid },
    publicUrl: config.publicUrl,
    guard: endpointGuard({ allowPrivateEndpoints: config.allowPrivatePushEndpoints }),
    timeoutMs: deliveryTimeouts.push,
  });
  const emails =
    config.email === null
      ? noEmail
      : smtpGateway(config.email, { connectTimeoutMs: 10_000, timeoutMs: deliveryTimeouts.email });
  return { push, email: emails };
}

/**
 * Silence is judged every third of a minute, digests every minute. The tasks are independent: one that fails is logged and doesn't
 * delay the others.
 */
function startTimers(
  ports: Ports,
  log: FastifyBaseLogger,
  { programme, notifier, check, isDamaged, keepRaw }: DamageWatch & TimedWork,
): ScheduledTask[] {
  const every = (times: string, name: string, work: () => Promise<unknown>, evenIfDamaged = false) =>
    cron.schedule(
      times,
      async () => {
        if (isDamaged() && !evenIfDamaged) return; // it could store nothing, and the damage is reported already
        try {
          await work();
        } catch (error) {
          log.error({ err: error }, `the ${name} failed; it is tried again with the next tick`);
        }
        ports.outboxSignal.notify(); // retries that have come due
      },
      { timezone: "UTC", noOverlap: true },
    );
  const listeningSince = ports.clock.now();
  return [
    every("*/20 * * * * *", "repair of damaged feeders", () => repairDamaged(ports, log)),
    every("*/20 * * * * *", "periodic check", () => runPeriodicChecks(ports, listeningSince)),
    every("*/20 * * * * *", "escalation of alarms", () => advanceDueEscalations(ports)),
    every("*/3 * * * * *", "step of the practice programme", () => programme.step()),
    every("*/30 * * * * *", "check of live sockets", () => checkLiveSockets(ports)),
    every("* * * * *", "digest", () => sendDueDigests(ports)),
    every("* * * * *", "packing of the log", () => packLogs(ports, keepRaw)),
    every("* * * * *", "renewal of messages at the broker", async () => ports.retainedMessages.renew()),
    every("17 * * * *", "removal of old data", () => pruneOld(ports)), // each hour: a server may be off for most of a day
    every("* * * * *", "finding the events of stills", () => findEvents(ports)),
    every("23 * * * *", "removal of old stills", () => removeOldStills(ports)),
    every("29 * * * *", "removal of pictures that nothing shows", () => sweepPictures(ports)),
    every("41 2 * * *", checkName, () => checkWholeDatabase(ports, check, log)),
    every("* * * * *", "reading whom to notify of a damaged database", () => notifier.updateRecipients()),
    every("* * * * *", "notifying of the damaged database", () => notifier.notify(), true),
  ];
}

interface TimedWork {
  readonly programme: PracticeProgramme;
  readonly keepRaw: Span;
}

interface DamageWatch {
  readonly notifier: DamageNotifier;
  readonly check: StoreCheck;
  readonly isDamaged: () => boolean;
}

/** Service managers and keepers stop the server with a signal; a second one while closing changes nothing. */
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

/** The address for clients on this machine: a server that listens everywhere also listens on the loopback address. */
function loopbackUrl(address: string): string {
  const { port, hostname } = new URL(address);
  const everywhere = hostname === "0.0.0.0" || hostname === "[::]";
  return `http://${everywhere ? "127.0.0.1" : hostname}:${port}`;
}

function printStartText(config: Config, address: string, firstSignInToken: string | null): void {
  const home = homeUrl(config, new URL(address).port);
  print(`Pieward listens at ${home}`);
  if (firstSignInToken !== null) {
    print(
      `\nThis server has no keeper yet. Open this first sign-in link once to become the keeper:\n\n  ${home}/first-sign-in#${firstSignInToken}\n`,
    );
  }
}

const print = (text: string) => process.stdout.write(`${text}\n`);
const warn = (text: string) => process.stderr.write(`${text}\n`);
/** Before there is a logger. */
const stderrLog: DamageLog = {
  error: (_details, text) => warn(text),
  warn: (_details, text) => warn(text),
};

/** @throws ConfigProblem for an unknown argument, so that a typing mistake is reported. */
function readArguments(args: string[]): StartArguments {
  try {
    const flag = { type: "boolean", default: false } as const;
    const { values } = parseArgs({ args, options: { "new-keys": flag, "new-database": flag } });
    return { mayCreateKeys: values["new-keys"], mayCreateDatabase: values["new-database"] };
  } catch (error) {
    throw new ConfigProblem(`${(error as Error).message}. Known are --new-keys and --new-database.`);
  }
}

/** An error that a keeper can act on gives a sentence; one that only a developer can gives its stack. */
function startProblemText(error: unknown): string {
  if ([ConfigProblem, KeysProblem, MigrationProblem, StartProblem].some((kind) => error instanceof kind)) {
    return (error as Error).message;
  }
  const known = error as SystemError;
  const code = storeErrorCode(error) ?? known.code?.replace(/^(SQLITE_[A-Z]+)_.*/, "$1");
  const text = code === undefined ? undefined : startProblemTexts[code];
  return text?.(known) ?? known.stack ?? String(error);
}

type SystemError = NodeJS.ErrnoException & { readonly port?: number };

function storeErrorCode(error: unknown): string | undefined {
  if (error instanceof StoreBusy) return "SQLITE_BUSY";
  if (error instanceof StoreFull) return "SQLITE_FULL";
  return error instanceof StoreReadOnly ? "SQLITE_READONLY" : undefined;
}

const notWritableText = ({ path, message }: SystemError) =>
  `Pieward may not write ${path ?? "there"}: ${message}. Give it the right to, or choose another DATA_DIR.`;
const notAFolderText = ({ path }: SystemError) =>
  `${path ?? "The data folder"} is not a folder, so nothing can be stored there. Choose another DATA_DIR.`;
const fullDiskText = ({ message }: SystemError) =>
  `The database can't be written: its disk is full or failing. Make room on it, or choose another DATA_DIR. (${message})`;
const readOnlyDatabaseText = ({ message }: SystemError) =>
  `The database can't be opened for writing: ${message}. Check DATA_DIR or DATABASE_URL and its rights.`;

/** By the code of Node.js (errno) or SQLite, without SQLite's extension. */
const startProblemTexts: Readonly<Record<string, (error: SystemError) => string>> = {
  EADDRINUSE: ({ port }) =>
    `The port ${port} is in use by another program. Choose another with PORT=…, or stop that program.`,
  EACCES: notWritableText,
  EPERM: notWritableText,
  EROFS: notWritableText,
  EEXIST: notAFolderText,
  ENOTDIR: notAFolderText,
  ENOSPC: fullDiskText,
  EFBIG: fullDiskText,
  EDQUOT: fullDiskText,
  SQLITE_FULL: fullDiskText,
  SQLITE_IOERR: fullDiskText,
  SQLITE_CANTOPEN: readOnlyDatabaseText,
  SQLITE_READONLY: readOnlyDatabaseText,
  SQLITE_BUSY: () => "The database is locked by another program. Is Pieward running already?",
};

main().catch((error: unknown) => {
  process.stderr.write(`${startProblemText(error)}\n`);
  process.exit(1);
});
