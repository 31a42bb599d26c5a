import { existsSync } from "node:fs";
import { join } from "node:path";
import { lockFolder } from "./adapters/dataFolder.ts";
import { isUpToDate } from "./adapters/store/migrate.ts";
import { type OpenStore, openStore } from "./adapters/store/prismaStore.ts";
import { systemClock } from "./adapters/systemClock.ts";
import { homeUrl, projectFolder } from "./adapters/thisMachine.ts";
import { type Config, readConfig } from "./config.ts";
import { isoOf } from "./domain/instant.ts";
import { makeReset } from "./flows/accounts.ts";
import { rebuildState } from "./flows/pure/rebuildState.ts";
import { rebuildHistory } from "./flows/rebuildHistory.ts";
import type { RebuiltRollups } from "./ports.ts";

/**
 * `npm run keeper -- reset NAME`: prints a link with which a person who has lost their passphrase sets a new one. Whoever may run
 * this can read the database anyway. It works while the server runs and while it doesn't: it only adds one row.
 *
 * `npm run keeper -- rebuild-history [FEEDER]`: makes the sums of which the charts are drawn again from the log, while the server is
 * stopped: it would store others meanwhile.
 */

const usage = `Usage: npm run keeper -- reset NAME
Prints a link with which this person sets a new passphrase. It works once, for an hour, and signs them out everywhere.

       npm run keeper -- rebuild-history [FEEDER]
Makes the history of all feeders, or of one (its name or id), again from the log, and prints how much differed: nothing,
unless the database was damaged. Stop the server first.

Run it with the same settings (DATA_DIR, DATABASE_URL, PUBLIC_URL, PORT) as the server.
`;

async function main(args: readonly string[]): Promise<number> {
  const [command, ...rest] = args;
  const name = rest.join(" ").trim();
  if (command === "reset" && name !== "") return withDatabase((config, store) => printReset(config, store, name));
  if (command !== "rebuild-history") return printError(usage, 2);
  return withDatabase((_, store) => printRebuilt(store, name === "" ? null : name), lockFolder);
}

/** @param prepare before the database is opened */
async function withDatabase(
  work: (config: Config, store: OpenStore) => Promise<number>,
  prepare: (file: string) => void = () => undefined,
): Promise<number> {
  process.env.TZ = "UTC";
  const config = readConfig(process.env);
  const file = config.databaseUrl.replace(/^file:/, "");
  if (!existsSync(file)) return printError(`There is no database at ${file}. Set DATA_DIR as the server has it.\n`, 1);
  if (!isUpToDate(file, join(projectFolder(), "prisma", "sqlite", "migrations"))) {
    return printError("The database is of an earlier version. Start the server once, then try again.\n", 1);
  }
  prepare(file);
  const store = await openStore(config.databaseUrl, rebuildState);
  try {
    return await work(config, store);
  } finally {
    await store.close();
  }
}

async function printReset(config: Config, store: OpenStore, name: string): Promise<number> {
  const reset = await makeReset({ clock: systemClock, store }, name);
  if (reset.kind === "noSuchPerson") {
    const known =
      reset.known.length === 0 ? "Nobody has an account here yet." : `There are: ${reset.known.join(", ")}.`;
    return printError(`Nobody here has the name ${name}. ${known}\n`, 1);
  }
  const link = `${homeUrl(config, config.port)}/reset#${reset.token}`;
  process.stdout.write(
    `Open this link to set a new passphrase for ${reset.name}. It works once, for an hour. Give it to nobody else.\n\n  ${link}\n`,
  );
  return 0;
}

async function printRebuilt(store: OpenStore, wanted: string | null): Promise<number> {
  let [found, damaged] = [0, 0];
  for await (const { id, name, rebuilt } of rebuildHistory(store, wanted)) {
    found += 1;
    if (rebuilt === null) damaged += 1;
    process.stdout.write(`${name} (${id}): ${rebuilt === null ? stateDamaged : rebuiltText(rebuilt)}\n`);
  }
  if (found === 0 && wanted !== null) return printError(`There is no feeder with the name or id ${wanted}.\n`, 1);
  return damaged > 0 ? 1 : 0;
}

const stateDamaged = "its stored state is damaged. Start the server once, which repairs it, then try again.";

function rebuiltText({ rows, changed, from, unreadable, linesLeftOut }: RebuiltRollups): string {
  const sentences = [`${rows} rows made again, ${changed} changed.`];
  if (from !== null) sentences.push(`Rows from before ${isoOf(from)} stay as they were: the readings are gone.`);
  for (const { firstAt } of unreadable) {
    sentences.push(`The log of ${isoOf(firstAt).slice(0, 10)} can't be read: its rows stay as they were.`);
  }
  if (linesLeftOut > 0) sentences.push(`${linesLeftOut} lines of the log could not be taken and are left out.`);
  return sentences.join(" ");
}

function printError(text: string, code: number): number {
  process.stderr.write(text);
  return code;
}

main(process.argv.slice(2)).then(
  (code) => {
    process.exitCode = code;
  },
  (error: unknown) => {
    process.exitCode = printError(`${error instanceof Error ? error.message : String(error)}\n`, 1);
  },
);
