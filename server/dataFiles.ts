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
import { type StoreCheck, type StoreCondition, StoreDamaged } from "./ports.ts";

/** What the command line says: that a loss is known and meant. */
export interface StartArguments {
  readonly mayCreateKeys: boolean;
  readonly mayCreateDatabase: boolean;
}

/** The data folder, held, checked and opened. */
export interface DataFiles {
  readonly store: OpenStore;
  readonly secrets: Secrets;
  readonly check: StoreCheck;
  /** Whether the first check came to its end before the server opened. */
  readonly isChecked: boolean;
}

export interface OpenOptions {
  readonly config: Config;
  readonly startArguments: StartArguments;
  readonly projectFolder: string;
  readonly print: (words: string) => void;
  readonly warn: (words: string) => void;
  /** Called for whatever is found later on. */
  readonly onDamage: (damage: StoreDamage) => void;
  /** Notifies keepers of what keeps the server from starting, as far as that is possible without its database. */
  readonly notifyBeforeEnd: (condition: StoreCondition, secrets: Secrets) => Promise<void>;
}

/** A large file is read on after the start; feeders and keepers don't wait for it longer than this. Our choice. */
const firstCheckMax = seconds(5);

/**
 * The folder first, then the lock, then what lies there, and only then anything is written. Keys are made after the database: a
 * first start that is interrupted leaves no keys without one.
 * @throws ConfigProblem, StartProblem, KeysProblem, MigrationProblem, StoreBusy, or what SQLite and the file system say
 */
export async function openDataFiles({ config, startArguments, ...opening }: OpenOptions): Promise<DataFiles> {
  const file = config.databaseUrl.replace(/^file:/, "");
  makeFolder(config.dataDir);
  if (!existsSync(dirname(file))) {
    throw new ConfigProblem(`The configuration needs attention:\n  DATABASE_URL: there is no folder ${dirname(file)}`);
  }
  const kept = readSecrets(config.dataDir);
  const advice = () => findRestoreAdvice(config.dataDir, file);
  const condition = createStoreCondition({
    advice,
    noted(damage) {
      opening.warn(
        damage.kind === "commitsLost" ? damageText(damage) : `${damageText(damage)} ${adviceText(advice())}`,
      );
      opening.onDamage(damage);
    },
  });
  const check = quickCheck(join(opening.projectFolder, "dist", "server", "checkDatabase.js"), file);
  try {
    checkDatabaseExists(file, kept !== null, startArguments.mayCreateDatabase, adviceText(advice()));
    lockFolder(file);
    const leftOpen = restrictAccess(config.dataDir, file);
    if (leftOpen !== null) opening.warn(leftOpen);
    checkKeysExist(file, keysFile(config.dataDir), startArguments.mayCreateKeys, adviceText(advice()));
    const isChecked = await runFirstCheck(file, condition, check, opening.warn);
    migrateDatabase(file, opening, condition.damage() === null);
    const store = await openStore(config.databaseUrl, condition);
    return { store, secrets: kept ?? makeSecrets(config.dataDir), check, isChecked };
  } catch (error) {
    const damage = damageFromError(error);
    if (damage === null) throw error;
    const said = condition.damage() !== null;
    if (!said) condition.recordDamage(damage);
    if (kept !== null) await opening.notifyBeforeEnd(condition, kept);
    if (error instanceof DatabaseGone) throw error;
    const { cause, message } = error as Error;
    const words = cause instanceof Error ? cause.message : message;
    throw new StartProblem(`The database is damaged: ${words}. Restore a backup. ${adviceText(advice())}`);
  }
}

async function runFirstCheck(
  file: string,
  condition: StoreCondition,
  check: StoreCheck,
  warn: (words: string) => void,
): Promise<boolean> {
  if (!existsSync(file) || statSync(file).size === 0) return true;
  try {
    return (await checkStore({ clock: systemClock, store: { condition } }, check, firstCheckMax)) !== "notFinished";
  } catch (error) {
    warn(error instanceof Error ? error.message : String(error)); // what keeps the file from being read ends the start in its own words
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
