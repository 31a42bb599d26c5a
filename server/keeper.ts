import { existsSync } from "node:fs";
import { join } from "node:path";
import { isUpToDate } from "./adapters/store/migrate.ts";
import { openStore } from "./adapters/store/prismaStore.ts";
import { systemClock } from "./adapters/systemClock.ts";
import { homeUrl, projectFolder } from "./adapters/thisMachine.ts";
import { readConfig } from "./config.ts";
import { makeReset } from "./flows/accounts.ts";
import { rebuildState } from "./flows/pure/rebuildState.ts";

/**
 * `npm run keeper -- reset NAME`: prints a link with which a person who has lost their passphrase sets a new one. Whoever may run
 * this can read the database anyway. It works while the server runs and while it doesn't: it only adds one row.
 */

const usage = `Usage: npm run keeper -- reset NAME
Prints a link with which this person sets a new passphrase. It works once, for an hour, and signs them out everywhere.
Run it with the same settings (DATA_DIR, DATABASE_URL, PUBLIC_URL, PORT) as the server.
`;

async function main(args: readonly string[]): Promise<number> {
  const [command, ...rest] = args;
  const name = rest.join(" ").trim();
  if (command !== "reset" || name === "") return printError(usage, 2);
  process.env.TZ = "UTC";
  const config = readConfig(process.env);
  const file = config.databaseUrl.replace(/^file:/, "");
  if (!existsSync(file)) return printError(`There is no database at ${file}. Set DATA_DIR as the server has it.\n`, 1);
  if (!isUpToDate(file, join(projectFolder(), "prisma", "sqlite", "migrations"))) {
    return printError("The database is of an earlier version. Start the server once, then try again.\n", 1);
  }
  const store = await openStore(config.databaseUrl, rebuildState);
  try {
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
  } finally {
    await store.close();
  }
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
