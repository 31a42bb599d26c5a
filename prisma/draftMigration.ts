import { mkdtempSync, readFileSync, rmSync } from "node:fs";
import { createRequire } from "node:module";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { PrismaBetterSqlite3 } from "@prisma/adapter-better-sqlite3";
import * as bindings from "@prisma/schema-engine-wasm/schema_engine_bg";
import { migrate } from "../server/adapters/store/migrate.ts";

/**
 * Drafts the SQL that leads from the migrations to the models, without a network: `npm run migration:draft`.
 *
 * Prisma's own command asks for an engine that not every machine can download; the same engine comes from npm as
 * WebAssembly, for Prisma's internal use. So this only helps to write migrations; the server doesn't need it.
 */

const require = createRequire(import.meta.url);
const engineModule = "@prisma/schema-engine-wasm/schema_engine_bg";

export interface SchemaFile {
  readonly path: string;
  readonly content: string;
}

/** The models as they stand, in the files of the SQLite schema. */
export function readModels(folder = join(import.meta.dirname, "sqlite")): SchemaFile[] {
  return ["schema.prisma", "models.prisma", "training.prisma"].map((name) => ({
    path: join(folder, name),
    content: readFileSync(join(folder, name), "utf8"),
  }));
}

/**
 * @returns SQL for SQLite, or "" where migrations and models agree. What models can't express, such as WITHOUT ROWID, is
 *   no difference.
 * @throws MigrationProblem or the database's own error where the migrations don't apply to an empty database.
 */
export async function draftMigration(
  models: readonly SchemaFile[] = readModels(),
  migrationsFolder = join(import.meta.dirname, "sqlite", "migrations"),
): Promise<string> {
  const scratch = mkdtempSync(join(tmpdir(), "pieward-draft-"));
  try {
    const file = join(scratch, "scratch.db");
    migrate(file, migrationsFolder, "draft");
    return await difference(`file:${file}`, models);
  } finally {
    rmSync(scratch, { recursive: true, force: true });
  }
}

async function difference(databaseUrl: string, models: readonly SchemaFile[]): Promise<string> {
  const SchemaEngine = await loadEngine();
  const files = models.map(({ path, content }) => ({ path, content }));
  const ignoreLog = () => undefined; // errors are thrown as well
  const engine = await SchemaEngine.new(
    { datamodels: files.map(({ path, content }) => [path, content]) },
    ignoreLog,
    connectorFor(databaseUrl),
  );
  try {
    const { stdout } = await engine.diff({
      from: { tag: "schemaDatasource", files, configDir: import.meta.dirname },
      to: { tag: "schemaDatamodel", files },
      script: true,
      exitCode: null,
      filters: { externalTables: [], externalEnums: [] },
    });
    const sql = (stdout ?? "").trim();
    return sql === "-- This is an empty migration." ? "" : sql;
  } finally {
    engine.free();
  }
}

let loaded: Promise<typeof bindings.SchemaEngine> | null = null; // once per process: the bindings hold one memory

function loadEngine(): Promise<typeof bindings.SchemaEngine> {
  loaded ??= instantiateEngine();
  return loaded;
}

/** Node can't import WebAssembly modules, so this instantiates the engine. */
async function instantiateEngine(): Promise<typeof bindings.SchemaEngine> {
  const bytes = readFileSync(require.resolve(engineModule).replace(/\.js$/, ".wasm"));
  const { instance } = await WebAssembly.instantiate(bytes, { "./schema_engine_bg.js": { ...bindings } });
  bindings.__wbg_set_wasm(instance.exports);
  (instance.exports.__wbindgen_start as () => void)();
  return bindings.SchemaEngine;
}

/** Wraps the adapter so that its errors cross into WebAssembly; from the package that the adapter itself is made with. */
function connectorFor(databaseUrl: string): object {
  const fromAdapter = createRequire(require.resolve("@prisma/adapter-better-sqlite3"));
  const { bindMigrationAwareSqlAdapterFactory } = fromAdapter("@prisma/driver-adapter-utils");
  return bindMigrationAwareSqlAdapterFactory(new PrismaBetterSqlite3({ url: databaseUrl }));
}

if (process.argv[1] === fileURLToPath(import.meta.url)) {
  const sql = await draftMigration();
  process.stdout.write(sql === "" ? "The migrations and the models agree.\n" : `${sql}\n`);
}
