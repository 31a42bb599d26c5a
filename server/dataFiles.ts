import { existsSync, statSync } from "node:fs";
import { dirname, join } from "node:path";
import {
  checkDatabaseExists,
  checkKeysExist,
  DatabaseGone,
  lockFolder,
  makeFolder,
  restrictAccess,
  StartProblem,
} from "./adapters/dataFolder.ts";
import { findRestoreAdvice } from "./adapters/restoreAdvice.ts";
import { keysFile, makeSecrets, readSecrets, type Secrets } from "./adapters/secrets.ts";
import { migrate } from "./adapters/store/migrate.ts";
import { type OpenStore, openStore } from "./adapters/store/prismaStore.ts";
import { quickCheck } from "./adapters/store/quickCheck.ts";
import { createStoreCondition } from "./adapters/store/storeCondition.ts";
import { translateStoreError } from "./adapters/store/storeErrors.ts";
import { systemClock } from "./adapters/systemClock.ts";
import { type Config, ConfigProblem } from "./config.ts";
import { seconds } from "./domain/instant.ts";
import { adviceText, damageText, type StoreDamage } from "./domain/storeDamage.ts";
import { checkStore } from "./flows/damage.ts";
import { rebuildState } from "./flows/pure/rebuildState.ts";
import { type StoreCheck, type StoreCondition, StoreDamaged } from "./ports.ts";

/** The command line: whether a loss is known and intended. */
export interface StartArguments {
  readonly mayCreateKeys: boolean;
  readonly mayCreateDatabase: boolean;
}

/** The data folder: locked, checked and opened. */
export interface DataFiles {
  readonly store: OpenStore;
  readonly secrets: Secrets;
  readonly check: StoreCheck;
  /** Whether the first check was finished before the server opened. */
  readonly isChecked: boolean;
}

export interface OpenOptions {
  readonly config: Config;
  readonly startArguments: StartArguments;
  readonly projectFolder: string;
  readonly print: (text: string) => void;
  readonly warn: (text: string) => void;
  /** Called for damage that is found later. */
  readonly onDamage: (damage: StoreDamage) => void;
  /** Notifies keepers of what prevents the start, as far as that is possible without the database. */
  readonly notifyBeforeEnd: (condition: StoreCondition, secrets: Secrets) => Promise<void>;
}

/** A large file is checked further after the start; feeders and keepers wait for it at most this long. Our choice. */
const firstCheckMax = seconds(5);

/**
 * The folder first, then the lock, then the checks; only then anything is written. Keys are created after the database, so that
 * an interrupted first start leaves no keys without one.
 * @throws ConfigProblem, StartProblem, KeysProblem, MigrationProblem, StoreBusy, or an error of SQLite or the file system
 */
export async function openDataFiles({ config, startArguments, ...opening }: OpenOptions): Promise<DataFiles> {
  const file = config.databaseUrl.replace(/^file:/, "");
  makeFolder(config.dataDir);
  if (!existsSync(dirname(file))) {
    throw new ConfigProblem(`The configuration needs attention:\n  DATABASE_URL: there is no folder ${dirname(file)}`);
  }
  const secrets = readSecrets(config.dataDir);
  const advice = () => findRestoreAdvice(config.dataDir, file);
  const condition = createStoreCondition({
    advice,
    onDamage(damage) {
      opening.warn(
        damage.kind === "commitsLost" ? damageText(damage) : `${damageText(damage)} ${adviceText(advice())}`,
      );
      opening.onDamage(damage);
    },
  });
  const check = quickCheck(join(opening.projectFolder, "dist", "server", "checkDatabase.js"), file);
  try {
    checkDatabaseExists(file, secrets !== null, startArguments.mayCreateDatabase, adviceText(advice()));
    lockFolder(file);
    const leftOpen = restrictAccess(config.dataDir, file);
    if (leftOpen !== null) opening.warn(leftOpen);
    checkKeysExist(file, keysFile(config.dataDir), startArguments.mayCreateKeys, adviceText(advice()));
    const isChecked = await runFirstCheck(file, condition, check, opening.warn);
    migrateDatabase(file, opening, condition.damage() === null);
    const store = await openStore(config.databaseUrl, rebuildState, condition);
    return { store, secrets: secrets ?? makeSecrets(config.dataDir), check, isChecked };
  } catch (error) {
    const damage = damageFromError(error);
    if (damage === null) throw error;
    if (condition.damage() === null) condition.recordDamage(damage);
    if (secrets !== null) await opening.notifyBeforeEnd(condition, secrets);
    if (error instanceof DatabaseGone) throw error;
    const { cause, message } = error as Error;
    const text = cause instanceof Error ? cause.message : message;
    throw new StartProblem(`The database is damaged: ${text}. Restore a backup. ${adviceText(advice())}`);
  }
}

async function runFirstCheck(
  file: string,
  condition: StoreCondition,
  check: StoreCheck,
  warn: (text: string) => void,
): Promise<boolean> {
  if (!existsSync(file) || statSync(file).size === 0) return true;
  try {
    return (await checkStore({ clock: systemClock, store: { condition } }, check, firstCheckMax)) !== "notFinished";
  } catch (error) {
    warn(error instanceof Error ? error.message : String(error)); // if the file can't be read, opening it fails with a better message
    return false;
  }
}

function migrateDatabase(
  file: string,
  { projectFolder, print }: Pick<OpenOptions, "projectFolder" | "print">,
  isWhole: boolean,
) {
  const stamp = new Date().toISOString().replace(/[:.]/g, "-");
  const { applied, backup } = migrate(file, join(projectFolder, "prisma", "sqlite", "migrations"), stamp, isWhole);
  if (applied.length > 0 && backup) print(`The database was brought up to date. A copy from before is at ${backup}`);
}

function damageFromError(error: unknown): StoreDamage | null {
  const foundAt = systemClock.now();
  if (error instanceof DatabaseGone) return { kind: "missing", foundAt };
  const problem = translateStoreError(error);
  return problem instanceof StoreDamaged ? { kind: "damaged", foundAt, problem: problem.message } : null;
}
